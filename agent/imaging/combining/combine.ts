import { medianInPlace } from "../numerics/order-statistics.ts";
import { type CommonNoise, commonSigmaAdu, fitCommonNoise } from "./common-noise.ts";
import { isSmallSample, sigmaOfMad } from "./few-frames.ts";
import type { FrameStack } from "./frame-stack.ts";

/** Values further than so many deviations from their median are left out. */
export const usualClipSigmas = 3;

export interface CombineOptions {
  /**
   * `clipped`: one pass that leaves out what is further than `clipSigmas` sigma from the median, then the mean. From the
   * median, since a mean is dragged along by what it should leave out. Sigma is the standard deviation (with n); of few
   * frames (`few-frames.ts`), which one hit would widen beyond itself, the larger of what the median absolute deviation
   * and the noise common to the stack say.
   */
  readonly method: "mean" | "clipped" | "median";
  readonly clipSigmas?: number;
  /** For few frames; default: found by reading some of the stack first. */
  readonly noise?: CommonNoise;
}

/** One finished piece of the result, in order. The arrays are used again for the next piece. */
export interface CombinedTile {
  readonly startPx: number;
  /** NaN where no frame had a value. */
  readonly value: Float64Array;
  /** Standard deviation (with n) of the values kept, over the root of their number. */
  readonly sigmaOfMean: Float64Array;
  readonly keptCount: Uint16Array;
}

/** Pixels in hand at once, over all frames [values]: 8 MiB of float64. */
const valuesInHand = 1 << 20;

/**
 * Combines a stack pixel by pixel.
 * @param writeTile called once per piece, in order
 * @returns how many values were rejected, of how many
 */
export function combineFrames(
  stack: FrameStack,
  options: CombineOptions,
  writeTile: (tile: CombinedTile) => void,
): { rejected: number; values: number } {
  const { frameCount, pxCount } = stack;
  if (frameCount < 1) throw new RangeError("nothing to combine");
  if (frameCount > 65535) throw new RangeError("more frames than a 16-bit count holds");
  const tilePx = Math.min(pxCount, Math.max(256, Math.floor(valuesInHand / frameCount)));
  const slices = Array.from({ length: frameCount }, () => new Float64Array(tilePx));
  const value = new Float64Array(tilePx);
  const sigmaOfMean = new Float64Array(tilePx);
  const keptCount = new Uint16Array(tilePx);
  const pixel = new Float64Array(frameCount);
  const scratch = new Float64Array(frameCount);
  const clipSigmas = options.clipSigmas ?? usualClipSigmas;
  const clipsFew = options.method === "clipped" && isSmallSample(frameCount);
  const noise = clipsFew ? (options.noise ?? fitCommonNoise(stack)) : undefined;
  let rejected = 0;
  let values = 0;
  for (let startPx = 0; startPx < pxCount; startPx += tilePx) {
    const length = Math.min(tilePx, pxCount - startPx);
    for (let f = 0; f < frameCount; f++) stack.readPixels(f, startPx, slices[f]!.subarray(0, length));
    for (let i = 0; i < length; i++) {
      let n = 0;
      for (let f = 0; f < frameCount; f++) {
        const v = slices[f]![i]!;
        if (Number.isFinite(v)) pixel[n++] = v;
      }
      values += n;
      const kept = options.method === "clipped" ? clip(pixel, n, { clipSigmas, noise }, scratch) : n;
      rejected += n - kept;
      const mean = meanOf(pixel, kept);
      const spread = deviationOf(pixel, kept, mean);
      keptCount[i] = kept;
      sigmaOfMean[i] = spread / Math.sqrt(kept);
      value[i] = options.method === "median" ? medianOf(pixel, kept, scratch) : mean;
    }
    writeTile({
      startPx,
      value: value.subarray(0, length),
      sigmaOfMean: sigmaOfMean.subarray(0, length),
      keptCount: keptCount.subarray(0, length),
    });
  }
  return { rejected, values };
}

/** Moves what is kept to the front of `pixel`, in order, and says how many. */
function clip(
  pixel: Float64Array,
  count: number,
  by: { clipSigmas: number; noise: CommonNoise | undefined },
  scratch: Float64Array,
): number {
  const middle = medianOf(pixel, count, scratch);
  const sigma =
    by.noise === undefined
      ? deviationOf(pixel, count, meanOf(pixel, count))
      : fewSigma(pixel, count, middle, by.noise, scratch);
  const most = by.clipSigmas * sigma;
  let kept = 0;
  for (let k = 0; k < count; k++) {
    const v = pixel[k]!;
    if (!(v < middle - most) && !(v > middle + most)) pixel[kept++] = v;
  }
  return kept;
}

function fewSigma(
  pixel: Float64Array,
  count: number,
  middle: number,
  noise: CommonNoise,
  scratch: Float64Array,
): number {
  for (let k = 0; k < count; k++) scratch[k] = Math.abs(pixel[k]! - middle);
  const own = sigmaOfMad(count) * (medianInPlace(scratch, count) ?? Number.NaN);
  return Math.max(own, commonSigmaAdu(noise, middle));
}

function meanOf(values: Float64Array, n: number): number {
  let sum = 0;
  for (let k = 0; k < n; k++) sum += values[k]!;
  return sum / n;
}

/** With n, about the mean. */
function deviationOf(values: Float64Array, n: number, mean: number): number {
  let squares = 0;
  for (let k = 0; k < n; k++) squares += (values[k]! - mean) ** 2;
  return Math.sqrt(squares / n);
}

function medianOf(values: Float64Array, n: number, scratch: Float64Array): number {
  for (let k = 0; k < n; k++) scratch[k] = values[k]!;
  return medianInPlace(scratch, n) ?? Number.NaN;
}
