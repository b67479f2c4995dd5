import * as z from "zod";
import { camera } from "./camera-spec.ts";
import { rig } from "./rig-spec.ts";
import { atLeastZero, fraction, positive, whole } from "./spec-numbers.ts";
import { sun } from "./sun-spec.ts";

/**
 * A scene: the true Sun, sky, optics, rig pattern, camera and mechanics of a simulated rig, as plain data
 * in physical units. From it and a seed everything else follows; nothing of it is visible to a client.
 *
 * Positions on the sensor are unbinned pixels, x right, y down, (0, 0) at the centre of the first pixel.
 * The optical axis meets the sensor at ((widthPx - 1) / 2, (heightPx - 1) / 2).
 */

const site = z.strictObject({
  latitudeDegrees: z.number().min(-90).max(90),
  longitudeDegrees: z.number().min(-180).max(180),
  elevationMetres: z.number().min(-500).max(9000),
});

const optics = z.strictObject({
  apertureMm: positive,
  focalLengthMm: positive,
  /** Diameter of the central obstruction over that of the aperture; 0 for a refractor. */
  obstructionRatio: z.number().min(0).max(0.6),
  wavelengthNm: z.number().min(385).max(1100),
});

const sky = z.strictObject({
  extinctionMagPerAirmass: atLeastZero,
  /** Full width at half maximum. */
  seeingArcsec: atLeastZero,
  /** Scattered light round the Sun as a fraction of the disc centre's level at the limb; halves every 15 arcmin. */
  aureoleFraction: fraction,
  /** Thin cloud: at most this fraction of the light is lost, over times of about `periodSeconds`. */
  cloud: z.strictObject({ lossMax: fraction, periodSeconds: positive }),
  /** Haze thicker on one side: rms gradient across the frame on either axis, as a fraction of the light. */
  hazeGradient: z.strictObject({ rms: fraction, periodSeconds: positive }).optional(),
  /** Seeing that comes and goes: rms of the logarithm of its width. */
  seeingWander: z.strictObject({ rms: fraction, periodSeconds: positive }).optional(),
});

const mount = z.strictObject({
  /** Where the axis really points minus where the mount believes. */
  pointingErrorDegrees: z.strictObject({ east: z.number(), north: z.number() }),
  /** Motion of the axis on the sky that no tracking rate accounts for. */
  driftArcsecPerSecond: z.strictObject({ east: z.number(), north: z.number() }),
  /** The tube shaken by the wind, rms on either axis. */
  windShake: z.strictObject({ rmsArcsec: atLeastZero, periodSeconds: positive }).optional(),
  /** Without it the mount follows the stars alone. */
  hasSolarRate: z.boolean().optional(),
  backlashArcsec: z.strictObject({ east: atLeastZero, north: atLeastZero }),
  slewDegreesPerSecond: positive,
  settleSeconds: atLeastZero,
  limits: z.strictObject({ altitudeDegreesMin: z.number(), hourAngleHoursMax: positive }),
  startPointing: z.strictObject({ hourAngleHours: z.number(), decDegrees: z.number().min(-90).max(90) }),
  startsParked: z.boolean(),
  startsTracking: z.boolean(),
});

const focuser = z.strictObject({
  bestSteps: z.number(),
  /** Motion of the sensor along the axis. */
  micronPerStep: positive,
  stepsMin: whole,
  stepsMax: whole,
  stepsPerSecond: positive,
  backlashSteps: atLeastZero,
});

/** How the devices stand when the scene begins: what a run has to restore. */
const startsWith = z.strictObject({
  gain: atLeastZero,
  offset: atLeastZero,
  binning: whole.min(1),
  region: z.strictObject({
    xPx: whole.min(0),
    yPx: whole.min(0),
    widthPx: whole.min(1),
    heightPx: whole.min(1),
  }),
  coolerOn: z.boolean(),
  coolerCelsius: z.number(),
  cover: z.enum(["open", "closed"]),
  diffuserInPlace: z.boolean(),
  focusSteps: whole,
  wheelSlot: whole.min(1),
  rotatorDegrees: z.number(),
});

export const sceneSpecSchema = z.strictObject({
  seed: whole.min(0).max(0xffffffff),
  startUtc: z.iso.datetime(),
  site,
  optics,
  camera,
  sun,
  sky,
  rig,
  mount,
  focuser,
  startsWith,
});

export type SceneSpec = z.infer<typeof sceneSpecSchema>;
