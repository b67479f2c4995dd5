/** Continuum limb darkening at 656.28 nm. Source: Neckel, Solar Physics 229 (2005) 13. */
const [i, i5] = [1 / 0.65628, 0.65628 ** -5];
const a = [
  0.75267 - 0.265577 * i,
  0.93874 + 0.265577 * i - 0.004095 * i5,
  -1.89287 + 0.012582 * i5,
  2.42234 - 0.017117 * i5,
  -1.7115 + 0.011977 * i5,
  0.49062 - 0.003347 * i5,
] as const;

/** Brightness at a distance from the disc's centre; outside a little scattered light, the edge as seeing leaves it. */
export function discBrightness(distancePx: number, radiusPx: number): number {
  const mu = Math.sqrt(Math.max(0, 1 - (distancePx / radiusPx) ** 2));
  const disc = a[0] + mu * (a[1] + mu * (a[2] + mu * (a[3] + mu * (a[4] + mu * a[5]))));
  if (distancePx < radiusPx - 10) return disc;
  return 0.004 + disc / (1 + Math.exp((distancePx - radiusPx) / 0.7));
}
