/**
 * Median over many pixels of a deviation (with n) of n normal values, over the true one.
 * Source: median of chi-square ≈ ν (1 - 2/(9ν))³, E. B. Wilson and M. M. Hilferty, PNAS 17 (1931) 684.
 */
export function medianDeviation(n: number): number {
  const freedom = Math.max(1, n - 1);
  return Math.sqrt((freedom / (freedom + 1)) * (1 - 2 / (9 * freedom)) ** 3);
}
