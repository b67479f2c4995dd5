/** Sidereal rate [arcsec per second of time]: 360 degrees in a sidereal day of 86164.0905 s. */
export const siderealArcsecPerSecond = 15.041067;

/**
 * Mean sidereal time at Greenwich [hours, 0 to 24). Used only to hold a direction that does not follow the sky,
 * from one moment to another; a constant error cancels.
 * Source: linear part of the IAU 1982 expression, J. Meeus, Astronomical Algorithms, ch. 12 (from memory).
 */
export function greenwichSiderealHours(utcMs: number): number {
  const daysFromJ2000 = utcMs / 86_400_000 + 2440587.5 - 2451545;
  return wrapHours((280.46061837 + 360.98564736629 * daysFromJ2000) / 15);
}

/** @returns [hours] in [0, 24) */
export function wrapHours(hours: number): number {
  return ((hours % 24) + 24) % 24;
}

/** The short way round. @returns [hours] in [-12, 12) */
export function hoursBetween(from: number, to: number): number {
  return wrapHours(to - from + 12) - 12;
}
