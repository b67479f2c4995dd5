import * as z from "zod";
import { fraction, positive } from "./spec-numbers.ts";

const share = z.number().min(-0.9).max(1);

/** The sheet over the front. What is left out is not there: its light is then the same everywhere. */
export const diffuser = z.strictObject({
  /** Level everywhere with the diffuser in, over the level of the bare disc's centre. */
  transmission: positive.max(1),
  /** Half width of its scattering lobe: how far off the Sun it still glows. */
  lobeDegrees: positive,
  /** What comes through unscattered: level of the sharp disc's centre over that of the even light. */
  clearShare: fraction.optional(),
  /** Its light falls off over the field: 1 - atCorner·(r/half diagonal)². */
  fallOffAtCorner: z.number().min(0).max(0.5).optional(),
  /** Tilted, or thicker on one side: a plane, peak to peak over the width along `degrees` (from x towards y). */
  slope: z.strictObject({ peakToPeak: fraction, degrees: z.number() }).optional(),
  /** Folds, fingerprints, thin places: Gaussian patches of more or less light. They turn with the tube. */
  patches: z
    .array(z.strictObject({ xPx: z.number(), yPx: z.number(), sigmaPx: positive, excess: share }))
    .optional(),
  /** A sliver of the aperture that the sheet leaves bare at the rim. */
  rimGap: z
    .strictObject({
      /** Of the aperture's area. */
      areaFraction: z.number().min(0).max(0.1),
      /** Across the sliver: the narrower, the wider diffraction spreads its picture. */
      widthMm: positive,
      /** Where at the rim, as on the sensor, from x towards y. */
      degrees: z.number(),
    })
    .optional(),
});
