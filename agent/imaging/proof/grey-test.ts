import { RunningMoments } from "../noise/running-moments.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

export interface GreyScale {
  readonly sidePx: number;
  readonly blocks: number;
  /** Variance of block means over what noise allows; 1 is pure noise. */
  readonly ratio: number;
  /** Noise alone keeps the ratio within 1 ± this (3 sigma). */
  readonly band: number;
  /** Unevenness beyond noise, rms, a share of the level; 0 when the ratio is within its band. */
  readonly excess: number;
  /** One sigma of `excess`; when that is 0, the largest excess that could have stayed hidden. */
  readonly excessSigma: number;
}

export const greyScalesPx = [1, 2, 4, 8, 16, 32, 64] as const;

/**
 * Whether a picture is grey to within its noise, scale by scale: variance of the means of square blocks.
 * The ratio flags what is beyond chance, the excess says how much the eye would see.
 * @param picture mean near 1 over the pixels used
 * @param sigma one sigma of each pixel, what noise alone makes
 * @param usePx 1 where a pixel counts; a block needs three quarters of its pixels
 */
export function greyTest(
  picture: Float32Array,
  sigma: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  scalesPx: readonly number[] = greyScalesPx,
): GreyScale[] {
  checkShape(picture, shape);
  return scalesPx
    .filter((sidePx) => sidePx * 4 <= Math.min(shape.widthPx, shape.heightPx))
    .map((sidePx) => oneScale(picture, sigma, usePx, shape, sidePx));
}

function oneScale(
  picture: Float32Array,
  sigma: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  sidePx: number,
): GreyScale {
  const { widthPx, heightPx } = shape;
  const least = 0.75 * sidePx * sidePx;
  const means = new RunningMoments();
  let noise = 0;
  for (let y0 = 0; y0 + sidePx <= heightPx; y0 += sidePx) {
    for (let x0 = 0; x0 + sidePx <= widthPx; x0 += sidePx) {
      let sum = 0;
      let variance = 0;
      let count = 0;
      for (let y = y0; y < y0 + sidePx; y++) {
        for (let i = y * widthPx + x0; i < y * widthPx + x0 + sidePx; i++) {
          if (usePx[i] !== 1) continue;
          sum += picture[i]!;
          variance += sigma[i]! * sigma[i]!;
          count++;
        }
      }
      if (count < least) continue;
      means.add(sum / count);
      noise += variance / (count * count);
    }
  }
  const { count: blocks, mean, sampleVariance: variance } = means;
  const expected = noise / Math.max(1, blocks);
  const ratio = expected > 0 ? variance / expected : 1;
  const band = 3 * Math.sqrt(2 / Math.max(1, blocks - 1));
  const real = ratio > 1 + band && blocks > 1;
  const excess = real ? Math.sqrt(variance - expected) / mean : 0;
  const excessSigma = real
    ? (variance * Math.sqrt(2 / (blocks - 1))) / (2 * excess * mean * mean)
    : Math.sqrt(Math.max(0, expected * (1 + band) - Math.min(variance, expected))) / (mean || 1);
  return { sidePx, blocks, ratio, band, excess, excessSigma };
}
