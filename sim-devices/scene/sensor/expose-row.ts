import { type BentResponse, measuredOverTrue } from "./bent-response.ts";
import type { FrameNoise } from "./frame-noise.ts";

/** One row of expected electrons: even light. */
export function evenRow(
  out: Float32Array,
  count: number,
  pattern: Float32Array,
  start: number,
  electrons: number,
  dark: Float32Array,
  darkSeconds: number,
): void {
  for (let x = 0; x < count; x++) out[x] = electrons * pattern[start + x]! + darkSeconds * dark[start + x]!;
}

/** One row of expected electrons: an image of the Sun on an even sky. */
export function sunRow(
  out: Float32Array,
  count: number,
  pattern: Float32Array,
  start: number,
  evenElectrons: number,
  discElectrons: number,
  sun: Float32Array,
  sunStart: number,
  dark: Float32Array,
  darkSeconds: number,
): void {
  for (let x = 0; x < count; x++) {
    out[x] =
      (evenElectrons + discElectrons * sun[sunStart + x]!) * pattern[start + x]! +
      darkSeconds * dark[start + x]!;
  }
}

/** Adds a row of an image of the Sun. */
export function addSunRow(
  out: Float32Array,
  count: number,
  pattern: Float32Array,
  start: number,
  discElectrons: number,
  sun: Float32Array,
  sunStart: number,
): void {
  for (let x = 0; x < count; x++) out[x]! += discElectrons * sun[sunStart + x]! * pattern[start + x]!;
}

/** Adds a row of something that lies on the sensor as a map tells: a leak, dark current. */
export function addMapRow(
  out: Float32Array,
  count: number,
  map: Float32Array,
  start: number,
  electrons: number,
): void {
  for (let x = 0; x < count; x++) out[x]! += electrons * map[start + x]!;
}

/** Multiplies a row by a straight slope. */
export function tiltRow(out: Float32Array, count: number, atFirst: number, perPx: number): void {
  for (let x = 0; x < count; x++) out[x]! *= atFirst + perPx * x;
}

export interface ReadOut {
  readonly readNoiseElectrons: number;
  readonly fullWellElectrons: number;
  readonly codesPerElectron: number;
  readonly pedestalCodes: number;
  readonly topCode: number;
  /** Absent: straight. */
  readonly response?: BentResponse | undefined;
}

/** Above this mean the Poisson law is drawn as a normal one with the right mean, variance and skew. */
const POISSON_EXACT_BELOW = 40;

/**
 * Expected electrons become codes: shot noise, response, full well, column offset, read noise, converter.
 * @param gauss one normal number per pixel
 */
export function readOutRow(
  codes: Uint16Array,
  codeStart: number,
  expected: Float32Array,
  count: number,
  gauss: Float32Array,
  columnOffset: Float32Array,
  columnStart: number,
  read: ReadOut,
  noise: FrameNoise,
): void {
  const { readNoiseElectrons, fullWellElectrons, codesPerElectron, topCode, response } = read;
  const read2 = readNoiseElectrons * readNoiseElectrons;
  const base = read.pedestalCodes + 0.5;
  for (let x = 0; x < count; x++) {
    const mean = expected[x]!;
    const z = gauss[x]!;
    let electrons: number;
    if (mean < POISSON_EXACT_BELOW) {
      electrons = noise.poisson(mean) + readNoiseElectrons * z;
    } else {
      // Shot and read noise in one draw; the squared term carries the skew (Cornish-Fisher) and 1/18 of variance.
      const variance = mean + read2;
      electrons = mean + Math.sqrt(variance - 0.0556) * z + (mean / (6 * variance)) * (z * z - 1);
    }
    if (response) electrons *= measuredOverTrue(response, (electrons * codesPerElectron) / topCode);
    if (electrons > fullWellElectrons) electrons = fullWellElectrons + readNoiseElectrons * noise.gauss();
    const code = (electrons + columnOffset[columnStart + x]!) * codesPerElectron + base;
    codes[codeStart + x] = Math.min(topCode, Math.max(0, code));
  }
}
