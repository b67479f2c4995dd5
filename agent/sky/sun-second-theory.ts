import { libraryTime, sunPlaceAt } from "./sun-place.ts";

/** The Sun by a theory of two orbital elements and three sine terms: good to 0.01 degrees, and nobody's code but this. */
export interface SunBySecondTheory {
  /** Julian centuries since J2000. */
  readonly centuries: number;
  /** Not reduced to one turn. */
  readonly meanAnomalyDegrees: number;
  readonly eccentricity: number;
  /** Geometric, mean equinox of date. */
  readonly trueLongitudeDegrees: number;
  readonly distanceAu: number;
  /** Apparent: with nutation and aberration. */
  readonly longitudeDegrees: number;
  readonly raDegrees: number;
  readonly decDegrees: number;
}

const radians = Math.PI / 180;
const sin = (degrees: number) => Math.sin(degrees * radians);
const cos = (degrees: number) => Math.cos(degrees * radians);
const turn = (degrees: number) => ((degrees % 360) + 360) % 360;

/**
 * @param julianDay terrestrial time
 * Source: J. Meeus, Astronomical Algorithms, 2nd ed. (1998), ch. 25, lower accuracy (from memory, checked by its example).
 */
export function sunBySecondTheory(julianDay: number): SunBySecondTheory {
  const t = (julianDay - 2451545) / 36525;
  const meanLongitude = 280.46646 + t * (36000.76983 + t * 0.0003032);
  const anomaly = 357.52911 + t * (35999.05029 - t * 0.0001537);
  const eccentricity = 0.016708634 - t * (0.000042037 + t * 0.0000001267);
  const centre =
    (1.914602 - t * (0.004817 + t * 0.000014)) * sin(anomaly) +
    (0.019993 - t * 0.000101) * sin(2 * anomaly) +
    0.000289 * sin(3 * anomaly);
  const node = 125.04 - 1934.136 * t;
  const longitude = meanLongitude + centre - 0.00569 - 0.00478 * sin(node);
  const meanObliquity = 23 + 26 / 60 + (21.448 - t * (46.815 + t * (0.00059 - t * 0.001813))) / 3600;
  const obliquity = meanObliquity + 0.00256 * cos(node);
  return {
    centuries: t,
    meanAnomalyDegrees: anomaly,
    eccentricity,
    trueLongitudeDegrees: turn(meanLongitude + centre),
    distanceAu: (1.000001018 * (1 - eccentricity ** 2)) / (1 + eccentricity * cos(anomaly + centre)),
    longitudeDegrees: turn(longitude),
    raDegrees: turn(Math.atan2(cos(obliquity) * sin(longitude), cos(longitude)) / radians),
    decDegrees: Math.asin(sin(obliquity) * sin(longitude)) / radians,
  };
}

/** The two agree to 0.011 degrees from 1950 to 2100. Beyond this one of them is wrong, and nobody knows which. */
export const theoriesApartMostDegrees = 0.02;

/**
 * How far the place that everything here points by lies from the second theory's. A telescope that trusts a wrong
 * ephemeris sweeps an open tube past the Sun, so it is asked before one moves.
 */
export function sunTheoriesApartDegrees(utcMs: number): number {
  const time = libraryTime(utcMs);
  const first = sunPlaceAt(time);
  const second = sunBySecondTheory(time.tt + 2451545);
  const east = (((first.raHours * 15 - second.raDegrees + 540) % 360) - 180) * cos(second.decDegrees);
  return Math.hypot(east, first.decDegrees - second.decDegrees);
}
