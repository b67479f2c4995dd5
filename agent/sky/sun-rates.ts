import { sunPlace } from "./sun-place.ts";

/** Mean rate of the sky's turning [arcsec of hour angle per second]. */
export const siderealArcsecPerSecond = 15.041067;

/** How the Sun moves among the stars and past the meridian, geocentric. */
export interface SunRates {
  /** Change of right ascension [arcsec of RA per second]; times cos dec it is on the sky. */
  readonly raArcsecPerSecond: number;
  readonly decArcsecPerSecond: number;
  /** What a mount must turn in hour angle to stay on it. */
  readonly hourAngleArcsecPerSecond: number;
}

/** Central difference over two hours, which is long against the ephemeris' rounding and short against the year. */
export function sunRates(utcMs: number): SunRates {
  const halfSeconds = 3600;
  const before = sunPlace(utcMs - halfSeconds * 1000);
  const after = sunPlace(utcMs + halfSeconds * 1000);
  const raHours = ((after.raHours - before.raHours + 36) % 24) - 12;
  const raArcsecPerSecond = (raHours * 15 * 3600) / (2 * halfSeconds);
  return {
    raArcsecPerSecond,
    decArcsecPerSecond: ((after.decDegrees - before.decDegrees) * 3600) / (2 * halfSeconds),
    hourAngleArcsecPerSecond: siderealArcsecPerSecond - raArcsecPerSecond,
  };
}
