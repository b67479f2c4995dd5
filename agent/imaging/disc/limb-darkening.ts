/** I(μ)/I(0) = Σ a_k μ^k, k = 0..5, with μ = sqrt(1 - (r/R)²); the coefficients sum to 1. */
export type LimbDarkening = readonly number[];

/**
 * Continuum limb darkening at any wavelength from 385 to 1100 nm.
 * The line core of hydrogen alpha is darkened less; a rig that needs it measures its own.
 * @throws RangeError outside that range
 * Source: Neckel, Solar Physics 229 (2005) 13.
 */
export function limbDarkening(wavelengthNm: number): LimbDarkening {
  if (!(wavelengthNm >= 385 && wavelengthNm <= 1100)) {
    throw new RangeError(`limb darkening is known from 385 to 1100 nm, not at ${wavelengthNm} nm`);
  }
  const um = wavelengthNm / 1000;
  const i = 1 / um;
  const i5 = i ** 5;
  if (um >= 0.42257) {
    return [
      0.75267 - 0.265577 * i,
      0.93874 + 0.265577 * i - 0.004095 * i5,
      -1.89287 + 0.012582 * i5,
      2.42234 - 0.017117 * i5,
      -1.7115 + 0.011977 * i5,
      0.49062 - 0.003347 * i5,
    ];
  }
  return [
    0.099 + 0.010643 * i,
    1.96884 - 0.010643 * i - 0.009166 * i5,
    -2.80511 + 0.024873 * i5,
    3.3278 - 0.029317 * i5,
    -2.17878 + 0.018273 * i5,
    0.58825 - 0.004663 * i5,
  ];
}

/** Brightness over that of the disc's centre, at μ from 0 (limb) to 1. */
export function brightnessAtMu(coefficients: LimbDarkening, mu: number): number {
  let sum = 0;
  for (let k = coefficients.length - 1; k >= 0; k--) sum = sum * mu + coefficients[k]!;
  return sum;
}

/** The same at a distance from the centre in disc radii; 0 outside the disc. */
export function brightnessAtRadius(coefficients: LimbDarkening, radii: number): number {
  return radii < 1 ? brightnessAtMu(coefficients, Math.sqrt(1 - radii * radii)) : 0;
}
