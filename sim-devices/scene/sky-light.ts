import { Random } from "../../drivers/kit/random.ts";
import type { SceneSpec } from "./scene-spec.ts";

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

/**
 * Transparency of the thin cloud at a time since the scene's start: 1 is clear.
 * Smooth, seeded, the same however often or in whatever order it is asked for.
 */
export function cloudTransparency(spec: SceneSpec, sinceStartSeconds: number): number {
  const { lossMax, periodSeconds } = spec.sky.cloud;
  if (lossMax === 0) return 1;
  const waves = new Random(spec.seed).fork("cloud");
  let sum = 0;
  let most = 0;
  for (let i = 0; i < 5; i++) {
    const weight = 1 / (1 + 0.5 * i);
    const period = periodSeconds / (0.6 + 0.55 * i + 0.2 * waves.uniform()); // no common multiple in a day
    sum += weight * Math.cos(2 * Math.PI * (sinceStartSeconds / period + waves.uniform()));
    most += weight;
  }
  const cover = 0.5 + 0.5 * (sum / most);
  return 1 - lossMax * cover;
}
