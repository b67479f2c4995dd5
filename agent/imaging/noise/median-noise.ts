/**
 * How much noisier the median of n normal values is than their mean; within 1 % of the order-statistic integral
 * for odd n from 3 on. The limit is sqrt(π/2).
 */
export function medianNoise(n: number): number {
  return n < 3 ? 1 : Math.sqrt((Math.PI / 2) * (n / (n + Math.PI / 2 - 1)));
}
