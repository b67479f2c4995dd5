import type { SceneSpec } from "../spec/scene-spec.ts";

/**
 * Relative air mass at an apparent altitude [degrees above the horizon].
 * Source: F. Kasten & A. T. Young, Appl. Opt. 28 (1989) 4735; coefficients from memory.
 */
export function airMass(altitudeDegrees: number): number {
  const h = Math.max(altitudeDegrees, -0.5);
  return 1 / (Math.sin((h * Math.PI) / 180) + 0.50572 * (h + 6.07995) ** -1.6364);
}

/** Fraction of the sunlight that a clear sky lets through; none once the Sun has set. */
export function clearSkyTransmission(sky: SceneSpec["sky"], sunAltitudeDegrees: number): number {
  if (sunAltitudeDegrees < -0.5) return 0;
  return 10 ** (-0.4 * sky.extinctionMagPerAirmass * airMass(sunAltitudeDegrees));
}
