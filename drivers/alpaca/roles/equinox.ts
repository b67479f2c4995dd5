import type { Equatorial } from "../../roles/mount.ts";

/**
 * Mounts may give their coordinates for a standard equinox; ours are of date. In 2026 the two lie 22 arcmin apart.
 * Only precession is applied: nutation and aberration stay below half an arcminute.
 */

const rad = Math.PI / 180;
const msPerCentury = 36_525 * 86_400_000;
const j2000Ms = Date.UTC(2000, 0, 1, 12);

/** The equinoxes of EquatorialCoordinateType, as years; 0 (other) and 1 (topocentric) are of date. */
const equinoxYears: Readonly<Record<number, number>> = { 2: 2000, 3: 2050, 4: 1950 };

/** `undefined`: coordinates of date. */
export function equinoxMsOf(equatorialSystem: number): number | undefined {
  const year = equinoxYears[equatorialSystem];
  return year === undefined ? undefined : j2000Ms + ((year - 2000) / 100) * msPerCentury;
}

/**
 * Carries a place from one equinox to another.
 * Source: rigorous formulae, J. Meeus, Astronomical Algorithms, ch. 21 (IAU 1976 precession; from memory).
 */
export function precess(place: Equatorial, fromMs: number, toMs: number): Equatorial {
  const T = (fromMs - j2000Ms) / msPerCentury;
  const t = (toMs - fromMs) / msPerCentury;
  const common = 2306.2181 + 1.39656 * T - 0.000139 * T * T;
  const zeta = (common * t + (0.30188 - 0.000344 * T) * t * t + 0.017998 * t ** 3) / 3600;
  const z = (common * t + (1.09468 + 0.000066 * T) * t * t + 0.018203 * t ** 3) / 3600;
  const theta =
    ((2004.3109 - 0.8533 * T - 0.000217 * T * T) * t - (0.42665 + 0.000217 * T) * t * t - 0.041833 * t ** 3) /
    3600;
  const ra = (place.raHours * 15 + zeta) * rad;
  const dec = place.decDegrees * rad;
  const a = Math.cos(dec) * Math.sin(ra);
  const b = Math.cos(theta * rad) * Math.cos(dec) * Math.cos(ra) - Math.sin(theta * rad) * Math.sin(dec);
  const c = Math.sin(theta * rad) * Math.cos(dec) * Math.cos(ra) + Math.cos(theta * rad) * Math.sin(dec);
  const raDegrees = Math.atan2(a, b) / rad + z;
  return {
    raHours: (((raDegrees / 15) % 24) + 24) % 24,
    // Near a pole the arc sine loses digits; the other two components do not.
    decDegrees: Math.atan2(c, Math.hypot(a, b)) / rad,
  };
}
