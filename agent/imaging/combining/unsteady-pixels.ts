/** A pixel this many times as noisy as its peers, in variance, is not one of them. Common practice, no source. */
const unlikeTimes = 6.25;
/** Chance takes a good pixel this many sigma beyond its peers once in ten million. */
const chanceSigmas = 5.2;

/**
 * Variance over that of its peers from which a pixel is called unsteady.
 * Source: chi-square over its degrees of freedom is about (1 - 2/(9 v) + z (2/(9 v))^1/2)^3, E. B. Wilson and M. M.
 * Hilferty, PNAS 17 (1931) 684.
 */
export function unsteadyVariance(degreesOfFreedom: number): number {
  if (degreesOfFreedom < 1) return Number.POSITIVE_INFINITY;
  const share = 2 / (9 * degreesOfFreedom);
  return Math.max(unlikeTimes, (1 - share + chanceSigmas * Math.sqrt(share)) ** 3);
}

/** Samples left out of so many frames, from which a pixel jumps too often to be trusted; hits are far rarer. */
export function unsteadyRejections(frameCount: number): number {
  return Math.max(4, Math.ceil(0.1 * frameCount));
}
