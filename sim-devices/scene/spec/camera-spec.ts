import * as z from "zod";
import { atLeastZero, fraction, positive, whole } from "./spec-numbers.ts";

/** The sensor and what stands behind it. Converter steps are "codes"; the words sent for them are "adu". */
export const camera = z.strictObject({
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
    /** The amplifier warms while it waits: after so long its glow is twice as strong. Absent: steady. */
    glowDoublingSeconds: positive.optional(),
  }),
  hotPixels: z.strictObject({
    fraction,
    electronsPerSecondMin: atLeastZero,
    electronsPerSecondMax: atLeastZero,
  }),
  /** Pixels that see only `response` of the light. */
  deadPixels: z.strictObject({ fraction, response: fraction }),
  /** Pixel response non-uniformity, sd as a fraction: per pixel and per column. */
  pixelResponseSd: atLeastZero,
  columnResponseSd: atLeastZero,
  /**
   * Bent response: measured/true = 1 - quadratic·y - shoulder·y⁴, y the signal over the converter's full scale
   * at the gain in force. Absent: straight.
   */
  response: z
    .strictObject({ quadratic: z.number().min(-0.2).max(0.2), shoulder: z.number().min(0).max(0.1) })
    .optional(),
  /** Absent: monochrome. */
  mosaic: z
    .strictObject({
      /** Colours of the sensor's first two pixels and of the two below them. */
      pattern: z.enum(["RGGB", "BGGR", "GRBG", "GBRG"]),
      /** How much of the light goes through each dye. */
      red: fraction,
      green: fraction,
      blue: fraction,
    })
    .optional(),
  /** Fixed offset of a column, sd in electrons. */
  columnOffsetElectronsSd: atLeastZero,
  /** Offset of every row of a frame anew, sd in converter steps. */
  rowWanderCodes: atLeastZero.optional(),
  /** Interference in the read-out: a sine down the rows, of another phase in every frame. */
  banding: z.strictObject({ amplitudeCodes: atLeastZero, periodRows: positive }).optional(),
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
