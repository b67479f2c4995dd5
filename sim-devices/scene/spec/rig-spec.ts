import * as z from "zod";
import { diffuser } from "./diffuser-spec.ts";
import { ghost } from "./ghost-spec.ts";
import { atLeastZero, fraction, positive, whole } from "./spec-numbers.ts";

const dust = z.strictObject({
  xPx: z.number(),
  yPx: z.number(),
  /** From the sensor, in air equivalent. */
  distanceMm: atLeastZero,
  speckMicron: positive,
  /**
   * `camera` dust stays put on the sensor; `tube` dust turns with the rotator, and its distance follows the focuser
   * unless it sits in a filter slot: the wheel travels with the camera.
   */
  on: z.enum(["camera", "tube"]),
  /** Only seen with this filter slot (from 1); absent: always seen. */
  slot: whole.min(1).optional(),
});

/** A narrow filter against the line that it is made for, in half widths of both together. */
const passband = z.strictObject({
  /** How deep the line is. */
  lineDepth: z.number().min(0).max(0.9),
  /** How far beside the line the filter is set, in the middle of the field. */
  detuning: z.number().min(-2).max(2),
  /** How much farther at the corner. */
  towardsCorner: z.number().min(-2).max(2),
  perCelsius: z.number().min(-1).max(1),
});

/** What the rig itself puts on every picture, and its diffuser and filters. */
export const rig = z.strictObject({
  /** 1 - atCorner·(r/half diagonal)², centred off the sensor's middle by this much. */
  vignetting: z.strictObject({ atCorner: fraction, offsetXPx: z.number(), offsetYPx: z.number() }),
  /** Etalon-like uneven transmission: a smooth random surface, peak to peak. */
  unevenTransmission: z.strictObject({ peakToPeak: fraction, scaleFractionOfWidth: positive }),
  /** Plane, peak to peak over the width along `degrees` (from x towards y). */
  gradient: z.strictObject({ peakToPeak: fraction, degrees: z.number() }),
  /** Smooth excess: a Gaussian patch. Peak 0: none. */
  hotSpot: z.strictObject({ xPx: z.number(), yPx: z.number(), sigmaPx: positive, peak: atLeastZero }),
  dust: z.array(dust),
  /** Interference: transmission 1 + amplitude·cos; the normal of the stripes lies at `degrees` from x towards y. */
  fringes: z.strictObject({ periodPx: positive, degrees: z.number(), amplitude: fraction }).optional(),
  leak: z
    .strictObject({
      /**
       * Mean over the frame at gain 0 [words as sent], in the same sunlight as `flatAduPerSecond`; fades away
       * from the Sun. `leakOfFlat` makes it from a fraction of the diffuser flat's level.
       */
      aduPerSecond: positive,
      /** `gap`: light enters behind the cover, always; `cover`: the closed cover is translucent. */
      through: z.enum(["gap", "cover"]),
      shape: z.enum(["gradient", "patch"]),
      /** Where it comes from: direction on the sensor from x towards y. */
      degrees: z.number(),
      /** Gone when the telescope points this far from the Sun. */
      reachDegrees: positive,
    })
    .optional(),
  /** Transmission of each filter slot; the first is slot 1. */
  slots: z
    .array(
      z.strictObject({
        name: z.string().min(1),
        transmission: z.number().positive().max(1),
        passband: passband.optional(),
      }),
    )
    .min(1),
  /** The filters warm and cool about the temperature that their passbands are given for. */
  filterWarmth: z.strictObject({ rmsCelsius: atLeastZero, periodSeconds: positive }).optional(),
  diffuser,
  /** Reflections, added to every picture. */
  ghosts: z.array(ghost).optional(),
});
