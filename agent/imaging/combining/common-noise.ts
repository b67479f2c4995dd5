import { medianInPlace } from "../numerics/order-statistics.ts";
import type { FrameStack } from "./frame-stack.ts";
import { samplePlaces } from "./sample-places.ts";

/** Variance from frame to frame that pixels of one level have in common: a straight line over the level. */
export interface CommonNoise {
  /** [adu²], at `levelAdu`. */
  readonly varianceAdu2: number;
  /** A whole number, so that differences from counts are exact. */
  readonly levelAdu: number;
  /** Variance gained per level [adu² per adu]; not negative. */
  readonly slopeAdu: number;
}

export function commonSigmaAdu(noise: CommonNoise, levelAdu: number): number {
  return Math.sqrt(Math.max(0, noise.varianceAdu2 + noise.slopeAdu * (levelAdu - noise.levelAdu)));
}

const piecePx = 256;
const pieces = 128;

/**
 * What the scatter of values shows on pixels spread over the frame. Few values tell little of a single pixel, thirty
 * thousand pixels together tell it to one part in a hundred. The line runs through the darkest and the brightest third,
 * as read and photon noise do (EMVA 1288, release 4.0, linear model). Light that changes from frame to frame counts as
 * noise.
 */
export function fitCommonNoise(stack: FrameStack): CommonNoise {
  const found = sample(stack).sort((a, b) => a.levelAdu - b.levelAdu);
  const third = Math.ceil(found.length / 3);
  if (third === 0) return { varianceAdu2: 0, levelAdu: 0, slopeAdu: 0 };
  const [dark, bright] = [found.slice(0, third), found.slice(-third)].map((pixels) => ({
    levelAdu: Math.round(mean(pixels.map(({ levelAdu }) => levelAdu))),
    varianceAdu2: usualVariance(pixels.map(({ varianceAdu2 }) => varianceAdu2)),
  })) as [Scatter, Scatter];
  const rise = bright.varianceAdu2 - dark.varianceAdu2;
  const run = bright.levelAdu - dark.levelAdu;
  return { ...dark, slopeAdu: run > 0 ? Math.max(0, rise / run) : 0 };
}

interface Scatter {
  readonly levelAdu: number;
  readonly varianceAdu2: number;
}

function sample(stack: FrameStack): Scatter[] {
  const { frameCount, pxCount } = stack;
  const length = Math.min(piecePx, pxCount);
  const slices = Array.from({ length: frameCount }, () => new Float64Array(length));
  const values = new Float64Array(frameCount);
  const found: Scatter[] = [];
  for (const startPx of samplePlaces(pxCount, piecePx, pieces)) {
    for (const [f, slice] of slices.entries()) stack.readPixels(f, startPx, slice);
    for (let i = 0; i < length; i++) {
      let n = 0;
      for (const slice of slices) if (Number.isFinite(slice[i]!)) values[n++] = slice[i]!;
      if (n < 2) continue;
      const varianceAdu2 = sampleVariance(values, n);
      found.push({ varianceAdu2, levelAdu: medianInPlace(values, n)! });
    }
  }
  return found;
}

function sampleVariance(values: Float64Array, n: number): number {
  const centre = mean(values.subarray(0, n));
  let squares = 0;
  for (let k = 0; k < n; k++) squares += (values[k]! - centre) ** 2;
  return squares / (n - 1);
}

/** Of two values or more hardly any pixel shows eight times the common variance by chance. */
const oddTimes = 8;

/** The mean without odd pixels (hits, hot ones), whatever their size: at least seven of eight must be sound. */
function usualVariance(variances: readonly number[]): number {
  let kept = variances;
  for (;;) {
    const usual = mean(kept);
    const next = kept.filter((variance) => variance <= oddTimes * usual);
    if (next.length === kept.length) return usual;
    kept = next;
  }
}

function mean(values: ArrayLike<number>): number {
  let sum = 0;
  for (let k = 0; k < values.length; k++) sum += values[k]!;
  return sum / values.length;
}
