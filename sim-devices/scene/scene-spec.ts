import * as z from "zod";

/**
 * A scene: the true Sun, sky, optics, rig pattern, camera and mechanics of a simulated rig, as plain data
 * in physical units. From it and a seed everything else follows; nothing of it is visible to a client.
 *
 * Positions on the sensor are unbinned pixels, x right, y down, (0, 0) at the centre of the first pixel.
 * The optical axis meets the sensor at ((widthPx - 1) / 2, (heightPx - 1) / 2).
 */

const fraction = z.number().min(0).max(1);
const positive = z.number().positive();
const atLeastZero = z.number().min(0);
const whole = z.number().int();
/** On the unit disc of the Sun: u towards solar west, v towards solar north, [solar radii]. */
const onDisc = z.strictObject({ u: z.number().min(-1).max(1), v: z.number().min(-1).max(1) });

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

const camera = z.strictObject({
  widthPx: whole.min(16).max(16384),
  heightPx: whole.min(16).max(16384),
  pixelMicron: positive,
  /**
   * Moving the line of sight east by one pixel's worth moves the picture by (cos angle, sin angle) px;
   * moving it north moves the picture by parity × (-sin angle, cos angle) px.
   * So angle 0, parity 1 is north up, east left. Rotator at its first position.
   */
  angleDegrees: z.number().min(-360).max(360),
  parity: z.union([z.literal(1), z.literal(-1)]),
  /** Depth of the converter. */
  bits: z.union([z.literal(8), z.literal(10), z.literal(12), z.literal(14), z.literal(16)]),
  /**
   * How a code becomes the word that is sent: `plain` as it is; in 16-bit words `shifted` code·2^k,
   * `repeated` code·2^k + its top k bits, `scaled` round(code·65535/top).
   */
  words: z.enum(["plain", "shifted", "repeated", "scaled"]),
  /** Charge that a pixel holds, at any gain. */
  fullWellElectrons: positive,
  /** Electrons for one step of the converter, at gain 0. */
  electronsPerCodeAtGain0: positive,
  /** So many gain units make one step worth ten times fewer electrons (200: units of 0.1 dB). */
  gainUnitsPerTenfold: positive,
  gainMax: atLeastZero,
  offsetMax: atLeastZero,
  /** Pedestal in converter steps for one unit of the offset setting. */
  codesPerOffsetUnit: positive,
  /** Frame-to-frame sd of the pedestal in converter steps. */
  pedestalWanderCodes: atLeastZero,
  /** Temporal noise of one read: before the amplifier (constant in electrons) and after it (shrinks with gain). */
  readNoiseElectrons: z.strictObject({ beforeGain: atLeastZero, afterGain: atLeastZero }),
  dark: z.strictObject({
    /** Of a healthy pixel at `atCelsius`; doubles every `doublingCelsius`. */
    electronsPerSecond: atLeastZero,
    atCelsius: z.number(),
    doublingCelsius: positive,
    /** Pixel-to-pixel sd of the dark current as a fraction of it. */
    unevenness: fraction,
    /** Amplifier glow at the corner (0, 0), peak, fading over a sixth of the width. */
    glowElectronsPerSecond: atLeastZero,
  }),
  hotPixels: z.strictObject({
    fraction,
    electronsPerSecondMin: atLeastZero,
    electronsPerSecondMax: atLeastZero,
  }),
  /** Pixels that see `deadResponse` of the light. */
  deadPixels: z.strictObject({ fraction, response: fraction }),
  /** Pixel response non-uniformity, sd as a fraction: per pixel and per column. */
  pixelResponseSd: atLeastZero,
  columnResponseSd: atLeastZero,
  /** Fixed offset of a column, sd in electrons. */
  columnOffsetElectronsSd: atLeastZero,
  binningMax: whole.min(1).max(8),
  /** What a binned pixel is of its codes. */
  binningMode: z.enum(["sum", "average"]),
  exposureSecondsMin: positive,
  exposureSecondsMax: positive,
  readoutSeconds: atLeastZero,
  ambientCelsius: z.number(),
  /** Lowest that the cooler reaches; absent: no cooler. */
  coolerCelsiusMin: z.number().optional(),
});

const surfaceImage = z.strictObject({
  /** Grey PNG, solar north up, east left. */
  file: z.string().min(1),
  centreXPx: z.number(),
  centreYPx: z.number(),
  radiusPx: positive,
  /** Position angle of solar north in the image, [degrees] counter-clockwise from up. */
  poleDegrees: z.number(),
  /** Level over the disc's median, to this power: 1 keeps the image's contrast. */
  contrastPower: atLeastZero,
});

const sun = z.strictObject({
  /**
   * Signal of one unbinned pixel at the centre of the quiet disc, cover open, no diffuser, slot of transmission 1,
   * above the atmosphere. Six decades are allowed for.
   */
  centreElectronsPerSecond: positive,
  /** Rms contrast of the fine (granular) and coarse (network) texture of the quiet surface. */
  granulation: z.strictObject({ rms: atLeastZero, scaleArcsec: positive }),
  network: z.strictObject({ rms: atLeastZero, scaleArcsec: positive }),
  spots: z.array(z.strictObject({ at: onDisc, radiusArcsec: positive, depth: fraction })),
  plages: z.array(z.strictObject({ at: onDisc, radiusArcsec: positive, excess: atLeastZero })),
  filaments: z.array(
    z.strictObject({ path: z.array(onDisc).min(2), widthArcsec: positive, depth: fraction }),
  ),
  /** A real image instead of texture, spots, plages and filaments. Limb darkening still applies. */
  image: surfaceImage.optional(),
});

const sky = z.strictObject({
  extinctionMagPerAirmass: atLeastZero,
  /** Full width at half maximum. */
  seeingArcsec: atLeastZero,
  /** Scattered light round the Sun as a fraction of the disc centre's level at the limb; halves every 15 arcmin. */
  aureoleFraction: fraction,
  /** Thin cloud: at most this fraction of the light is lost, over times of about `periodSeconds`. */
  cloud: z.strictObject({ lossMax: fraction, periodSeconds: positive }),
});

const dust = z.strictObject({
  xPx: z.number(),
  yPx: z.number(),
  /** From the sensor, in air equivalent. */
  distanceMm: atLeastZero,
  speckMicron: positive,
  /** `camera` dust stays put on the sensor; `tube` dust turns with the rotator and its distance follows the focuser. */
  on: z.enum(["camera", "tube"]),
  /** Only seen with this filter slot (from 1); absent: always seen. */
  slot: whole.min(1).optional(),
});

const rig = z.strictObject({
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
       * from the Sun. `drawLeak` makes it from a fraction of the diffuser flat's level.
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
    .array(z.strictObject({ name: z.string().min(1), transmission: z.number().positive().max(1) }))
    .min(1),
  diffuser: z.strictObject({
    /** Level everywhere with the diffuser in, over the level of the bare disc's centre. */
    transmission: positive.max(1),
    /** Half width of its scattering lobe: how far off the Sun it still glows. */
    lobeDegrees: positive,
  }),
});

const mount = z.strictObject({
  /** Where the axis really points minus where the mount believes. */
  pointingErrorDegrees: z.strictObject({ east: z.number(), north: z.number() }),
  /** Motion of the axis on the sky that no tracking rate accounts for. */
  driftArcsecPerSecond: z.strictObject({ east: z.number(), north: z.number() }),
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
