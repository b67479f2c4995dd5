/** Density of the standard normal distribution. */
export function normalDensity(z: number): number {
  return Math.exp((-z * z) / 2) / Math.sqrt(2 * Math.PI);
}

/**
 * Share of a standard normal distribution above z, to 14 digits of itself however small it is.
 * Source: series and continued fraction, Abramowitz & Stegun 26.2.11 and 26.2.14.
 */
export function upperTail(z: number): number {
  if (z < 0) return 1 - upperTail(-z);
  if (z < 3) return 0.5 - normalDensity(z) * centralSeries(z);
  let fraction = z;
  for (let k = 60; k >= 1; k--) fraction = z + k / fraction;
  return normalDensity(z) / fraction;
}

/** Share between -z and z; to 14 digits of itself however near to 0. */
export function centralShare(z: number): number {
  return Math.abs(z) < 3
    ? 2 * normalDensity(z) * centralSeries(z)
    : Math.sign(z) * (1 - 2 * upperTail(Math.abs(z)));
}

/** z + z³/3 + z⁵/(3·5) + … */
function centralSeries(z: number): number {
  let term = z;
  let sum = z;
  for (let k = 3; Math.abs(term) > 1e-17 * Math.abs(sum); k += 2) {
    term *= (z * z) / k;
    sum += term;
  }
  return sum;
}

/** What clipping at ± k sigma does to good values. */
export interface ClippedNormal {
  /** Share that is thrown away. */
  readonly rejected: number;
  /** Standard deviation of what is left over the true one. */
  readonly sigmaAfter: number;
}

/** Source: moments of the doubly truncated normal distribution. */
export function clippedNormal(k: number): ClippedNormal {
  const kept = centralShare(k);
  return { rejected: 2 * upperTail(k), sigmaAfter: Math.sqrt(1 - (2 * k * normalDensity(k)) / kept) };
}
