type LimbCoefficients = readonly [number, number, number, number, number, number];

/**
 * Continuum limb darkening: coefficients a0 … a5 of I(μ)/I(0) = Σ a_k μ^k.
 * @param wavelengthNm 385 to 1100
 * @throws RangeError outside
 * Source: H. Neckel, Solar Phys. 229 (2005) 13: analytical fit to Neckel & Labs 1994 (Solar Phys. 153, 91).
 */
export function limbDarkening(wavelengthNm: number): LimbCoefficients {
  if (!(wavelengthNm >= 385 && wavelengthNm <= 1100)) {
    throw new RangeError(`Limb darkening is known from 385 to 1100 nm, not at ${wavelengthNm} nm`);
  }
  const inverse = 1000 / wavelengthNm; // 1/µm
  const fifth = inverse ** 5;
  return wavelengthNm >= 422.57
    ? [
        0.75267 - 0.265577 * inverse,
        0.93874 + 0.265577 * inverse - 0.004095 * fifth,
        -1.89287 + 0.012582 * fifth,
        2.42234 - 0.017117 * fifth,
        -1.7115 + 0.011977 * fifth,
        0.49062 - 0.003347 * fifth,
      ]
    : [
        0.099 + 0.010643 * inverse,
        1.96884 - 0.010643 * inverse - 0.009166 * fifth,
        -2.80511 + 0.024873 * fifth,
        3.3278 - 0.029317 * fifth,
        -2.17878 + 0.018273 * fifth,
        0.58825 - 0.004663 * fifth,
      ];
}

/** I(μ)/I(0) for coefficients of `limbDarkening`. */
export function limbLevel(a: LimbCoefficients, mu: number): number {
  return a[0] + mu * (a[1] + mu * (a[2] + mu * (a[3] + mu * (a[4] + mu * a[5]))));
}
