import { medianAndSigma } from "../numerics/order-statistics.ts";
import { sameCodeChance } from "./same-code-chance.ts";

export interface UnhealthyPixels {
  /** 1 where a pixel is hot, stuck or unsteady. */
  readonly unhealthyPx: Uint8Array;
  readonly hotPx: number;
  /** `undefined`: healthy pixels show one code in so few frames too, and none is called stuck. */
  readonly stuckPx: number | undefined;
  readonly unsteadyPx: number;
}

/** What the darks were. */
export interface DarkFrames {
  readonly frameCount: number;
  /** Least difference between two codes of the camera [adu]. */
  readonly stepAdu: number;
}

/** A mean dark value beyond this many robust standard deviations of the sensor's own spread is hot (common practice). */
const hotSigma = 10;
/** A pixel whose noise is this many times the sensor's is unsteady. */
const unsteadyTimes = 6;
/** Healthy pixels of the whole sensor that may be called stuck by chance. */
const falselyStuckMost = 1;

/**
 * Pixels not to be trusted, from a master dark.
 * Hot: far above its peers. Stuck: the same code in every frame, where chance does not do that to a healthy one of so
 * many pixels. Unsteady: far noisier.
 * @param meanAdu per-pixel mean of the darks [adu]
 * @param frameSigmaAdu per-pixel standard deviation of a single dark, with n - 1 [adu]
 */
export function unhealthyFromDark(
  meanAdu: Float32Array,
  frameSigmaAdu: Float32Array,
  { frameCount, stepAdu }: DarkFrames,
): UnhealthyPixels {
  const level = spreadOf(meanAdu);
  // Rounding hides what noise there is below a step.
  const noiseAdu = Math.max(spreadOf(frameSigmaAdu).median, stepAdu / Math.sqrt(12));
  const hotAbove = level.median + hotSigma * Math.max(level.sigma, noiseAdu);
  const unsteadyAbove = unsteadyTimes * noiseAdu;
  const sigmaSteps = noiseBeforeRounding(frameSigmaAdu, unsteadyAbove, stepAdu) / stepAdu;
  const tellsStuck = sameCodeChance(frameCount, sigmaSteps) * meanAdu.length < falselyStuckMost;
  const unhealthyPx = new Uint8Array(meanAdu.length);
  let hotPx = 0;
  let stuckPx = 0;
  let unsteadyPx = 0;
  for (let i = 0; i < meanAdu.length; i++) {
    const sigma = frameSigmaAdu[i]!;
    if (meanAdu[i]! > hotAbove) hotPx++;
    else if (tellsStuck && sigma === 0) stuckPx++;
    else if (sigma > unsteadyAbove) unsteadyPx++;
    else continue;
    unhealthyPx[i] = 1;
  }
  return { unhealthyPx, hotPx, stuckPx: tellsStuck ? stuckPx : undefined, unsteadyPx };
}

/** Root mean square over the steady pixels, less what rounding adds to it (a twelfth of a step squared). */
function noiseBeforeRounding(frameSigmaAdu: Float32Array, unsteadyAbove: number, stepAdu: number): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < frameSigmaAdu.length; i++) {
    const sigma = frameSigmaAdu[i]!;
    if (sigma > unsteadyAbove) continue;
    sum += sigma * sigma;
    count++;
  }
  return Math.sqrt(Math.max(0, sum / Math.max(1, count) - (stepAdu * stepAdu) / 12));
}

/** Median and spread of at most 100 000 pixels: enough for one part in 300. */
function spreadOf(values: Float32Array): { median: number; sigma: number } {
  const stride = Math.max(1, Math.floor(values.length / 100_000)) | 1; // odd, so that it drifts over the columns
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += stride) sample.push(values[i]!);
  return medianAndSigma(sample) ?? { median: 0, sigma: 0 };
}
