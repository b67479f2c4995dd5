/** Two figures of one sigma, and a value to match: 12.34 ± 0.56. */
export function withSigma(value: number, sigma: number): string {
  const [shown, uncertain] = sigmaTexts(value, sigma);
  return uncertain === undefined ? shown : `${shown} ± ${uncertain}`;
}

/** The same in two texts; a sigma of 0 or none tells nothing. */
export function sigmaTexts(
  value: number,
  sigma: number | undefined,
): readonly [value: string, sigma: string | undefined] {
  if (sigma === undefined || !(sigma > 0) || !Number.isFinite(sigma))
    return [String(Number(value.toPrecision(3))), undefined];
  const digits = Math.min(12, Math.max(0, 1 - Math.floor(Math.log10(sigma))));
  return [value.toFixed(digits), sigma.toFixed(digits)];
}
