import { lookUp, type NoiseByLevel, tabulate } from "./noise-by-level.ts";

/** Beyond this many sigma of its pixel a sample is an outlier. */
const rejectSigma = 5;

/** Median, variance (with n - 1) and 1.4826 · median absolute deviation of every pixel over the held frames. */
export function pixelStatistics(
  frames: readonly { pixels: Uint16Array; scale: number }[],
  darkAdu: Float32Array,
  clipAdu: number,
): { medians: Float32Array; variances: Float32Array; spreads: Float32Array } {
  const pxCount = darkAdu.length;
  const medians = new Float32Array(pxCount);
  const variances = new Float32Array(pxCount);
  const spreads = new Float32Array(pxCount);
  const values = new Float64Array(frames.length);
  const factors = frames.map((frame) => 1 / frame.scale);
  const arrays = frames.map((frame) => frame.pixels);
  for (let i = 0; i < pxCount; i++) {
    let n = 0;
    let sum = 0;
    for (let f = 0; f < arrays.length; f++) {
      const raw = arrays[f]![i]!;
      if (raw >= clipAdu) continue;
      const v = (raw - darkAdu[i]!) * factors[f]!;
      values[n++] = v;
      sum += v;
    }
    if (n === 0) {
      medians[i] = clipAdu - darkAdu[i]!;
      continue;
    }
    const mean = sum / n;
    let squares = 0;
    for (let k = 0; k < n; k++) squares += (values[k]! - mean) ** 2;
    const middle = medianOfFew(values, n);
    for (let k = 0; k < n; k++) values[k] = Math.abs(values[k]! - middle);
    medians[i] = middle;
    variances[i] = n > 1 ? squares / (n - 1) : 0;
    spreads[i] = 1.4826 * medianOfFew(values, n);
  }
  return { medians, variances, spreads };
}

/** The wider of what peers of the level show and what the pixel itself shows: an unsteady pixel is no outlier to itself. */
export function limitsFor(medians: Float32Array, spreads: Float32Array, noise: NoiseByLevel): Float32Array {
  const table = tabulate(noise);
  const limits = new Float32Array(medians.length);
  for (let i = 0; i < medians.length; i++)
    limits[i] = rejectSigma * Math.max(Math.sqrt(lookUp(table, medians[i]!)), spreads[i]!, 1e-3);
  return limits;
}

/** Sorting by insertion: the fastest there is for a dozen values. */
function medianOfFew(values: Float64Array, n: number): number {
  for (let k = 1; k < n; k++) {
    const value = values[k]!;
    let j = k - 1;
    while (j >= 0 && values[j]! > value) {
      values[j + 1] = values[j]!;
      j--;
    }
    values[j + 1] = value;
  }
  const half = n >> 1;
  return n & 1 ? values[half]! : (values[half - 1]! + values[half]!) / 2;
}
