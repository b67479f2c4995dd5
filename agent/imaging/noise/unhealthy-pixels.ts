import { medianAndSigma } from "../numerics/order-statistics.ts";

export interface UnhealthyPixels {
  /** 1 where a pixel is hot, stuck or unsteady. */
  readonly unhealthyPx: Uint8Array;
  readonly hotPx: number;
  readonly stuckPx: number;
  readonly unsteadyPx: number;
}

/** A mean dark value beyond this many robust standard deviations of the sensor's own spread is hot (common practice). */
const hotSigma = 10;
/** A pixel whose noise is this many times the sensor's is unsteady. */
const unsteadyTimes = 6;

/**
 * Pixels not to be trusted, from a master dark.
 * Hot: far above its peers. Stuck: the same code in every frame while its peers are noisy. Unsteady: far noisier.
 * @param meanAdu per-pixel mean of the darks [adu]
 * @param frameSigmaAdu per-pixel standard deviation of a single dark [adu]
 */
export function unhealthyFromDark(meanAdu: Float32Array, frameSigmaAdu: Float32Array): UnhealthyPixels {
  const level = spreadOf(meanAdu);
  const noise = spreadOf(frameSigmaAdu);
  const hotAbove = level.median + hotSigma * Math.max(level.sigma, noise.median, 1e-6);
  const unhealthyPx = new Uint8Array(meanAdu.length);
  let hotPx = 0;
  let stuckPx = 0;
  let unsteadyPx = 0;
  for (let i = 0; i < meanAdu.length; i++) {
    const sigma = frameSigmaAdu[i]!;
    const hot = meanAdu[i]! > hotAbove;
    const stuck = sigma === 0 && noise.median > 0;
    const unsteady = sigma > unsteadyTimes * noise.median && noise.median > 0;
    if (hot) hotPx++;
    else if (stuck) stuckPx++;
    else if (unsteady) unsteadyPx++;
    if (hot || stuck || unsteady) unhealthyPx[i] = 1;
  }
  return { unhealthyPx, hotPx, stuckPx, unsteadyPx };
}

/** Median and spread of at most 100 000 pixels: enough for one part in 300. */
function spreadOf(values: Float32Array): { median: number; sigma: number } {
  const stride = Math.max(1, Math.floor(values.length / 100_000)) | 1; // odd, so that it drifts over the columns
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += stride) sample.push(values[i]!);
  return medianAndSigma(sample) ?? { median: 0, sigma: 0 };
}
