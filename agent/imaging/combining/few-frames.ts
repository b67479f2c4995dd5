/**
 * With fewer frames than this, clipping does not go by the standard deviation: among n values none lies further than
 * √(n-1) deviations from the mean, so that one hit hides itself, wholly among up to 7 frames and half among 8 to 11.
 */
const enoughFrames = 12;

export function isSmallSample(frameCount: number): boolean {
  return frameCount < enoughFrames;
}

/**
 * One over the mean median absolute deviation of n normal values of sigma 1, n from 0. It tends to 1.4826.
 * Source: by simulation, 20 million draws each, to 0.0004 (few-frames.test.ts repeats it with less); within 1 % of the
 * factors of C. Croux and P. J. Rousseeuw, Computational Statistics 1 (1992) 411 (from memory).
 */
const perMad = [1, 1, 1.7725, 2.2046, 2.0169, 1.804, 1.7635, 1.6873, 1.6714, 1.6325, 1.6246, 1.6014];

/** Standard deviation of few normal values over their median absolute deviation, on the mean. */
export function sigmaOfMad(count: number): number {
  return perMad[count] ?? Number.NaN;
}

/** Share of good values that clipping few frames at 3 sigma leaves out at most: 3 frames do. few-frames.test.ts measures it. */
export const fewRejectedByChance = 0.003;
