import { medianInPlace } from "../numerics/order-statistics.ts";
import { risingOrder } from "../numerics/rising-order.ts";

/** Variance of one frame's pixel as a function of its level [adu², adu]. */
export interface NoiseByLevel {
  varianceAt(levelAdu: number): number;
}

const binCount = 24;

/**
 * How noisy pixels of a level are, measured on the frames themselves: photon, read and quantisation noise in one,
 * with no need to know the camera's gain. The median over pixels of equal level ignores hot and unsteady ones.
 * @param levels [adu] and sample variances (with n - 1) [adu²] of the same pixels
 * @param degreesOfFreedom of each variance, n - 1
 * Source: median of chi-square ≈ ν (1 - 2/(9ν))³, E. B. Wilson and M. M. Hilferty, PNAS 17 (1931) 684.
 */
export function noiseByLevel(
  levels: Float64Array,
  variances: Float64Array,
  degreesOfFreedom: number,
): NoiseByLevel {
  const medianOverMean = (1 - 2 / (9 * degreesOfFreedom)) ** 3;
  const order = risingOrder(levels);
  const bins = Math.max(1, Math.min(binCount, Math.floor(order.length / 200)));
  const knotLevel: number[] = [];
  const knotVariance: number[] = [];
  for (let bin = 0; bin < bins; bin++) {
    const from = Math.floor((bin * order.length) / bins);
    const to = Math.floor(((bin + 1) * order.length) / bins);
    if (to <= from) continue;
    const inBin = new Float64Array(to - from);
    let levelSum = 0;
    for (let i = from; i < to; i++) {
      inBin[i - from] = variances[order[i]!]!;
      levelSum += levels[order[i]!]!;
    }
    const level = levelSum / (to - from);
    if (knotLevel.length > 0 && level <= knotLevel.at(-1)!) continue;
    knotLevel.push(level);
    knotVariance.push(medianInPlace(inBin)! / medianOverMean);
  }
  return { varianceAt: (levelAdu) => interpolate(knotLevel, knotVariance, levelAdu) };
}

/** The same as a table over whole levels, for hot loops: entry k is for level `(k - below) · stepAdu`. */
export function tabulateVariance(noise: NoiseByLevel): {
  variances: Float32Array;
  stepAdu: number;
  below: number;
} {
  const stepAdu = 32;
  const below = 64; // dark-subtracted levels reach below zero
  const variances = new Float32Array(below + 65536 / stepAdu + 1);
  for (let k = 0; k < variances.length; k++) variances[k] = noise.varianceAt((k - below) * stepAdu);
  return { variances, stepAdu, below };
}

/** Variance at a level, from the table. */
export function varianceAtLevel(table: ReturnType<typeof tabulateVariance>, levelAdu: number): number {
  const k = Math.round(levelAdu / table.stepAdu) + table.below;
  return table.variances[k < 0 ? 0 : k >= table.variances.length ? table.variances.length - 1 : k]!;
}

/** Straight lines between the knots; the outermost value beyond them. */
function interpolate(x: readonly number[], y: readonly number[], at: number): number {
  if (x.length === 0) return 0;
  if (at <= x[0]!) return y[0]!;
  for (let k = 1; k < x.length; k++) {
    if (at <= x[k]!) return y[k - 1]! + ((y[k]! - y[k - 1]!) * (at - x[k - 1]!)) / (x[k]! - x[k - 1]!);
  }
  return y.at(-1)!;
}
