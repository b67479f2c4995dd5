import {
  AstroTime,
  Body,
  EquatorFromVector,
  GeoVector,
  RotateVector,
  Rotation_EQJ_EQD,
} from "astronomy-engine";

/** Where the Sun is as seen from the Earth's centre. */
export interface SunPlace {
  /** Apparent place of date: precession, nutation, aberration and light time are in it. */
  readonly raHours: number;
  readonly decDegrees: number;
  readonly distanceAu: number;
  /** Angle from the disc's centre to its limb [arcsec]. */
  readonly semidiameterArcsec: number;
}

/** IAU 2015 nominal solar radius and the astronomical unit [km]. */
const sunRadiusKm = 695_700;
const auKm = 149_597_870.7;

/** Geocentric apparent place; good to 2 arcsec. */
export function sunPlace(utcMs: number): SunPlace {
  return sunPlaceAt(libraryTime(utcMs));
}

/** UTC taken as UT1: worth at most 13.5 arcsec of hour angle, and nothing else. */
export function libraryTime(utcMs: number): AstroTime {
  return new AstroTime(new Date(utcMs));
}

export function sunPlaceAt(time: AstroTime): SunPlace {
  const ofDate = RotateVector(Rotation_EQJ_EQD(time), GeoVector(Body.Sun, time, true));
  const { ra, dec, dist } = EquatorFromVector(ofDate);
  return { raHours: ra, decDegrees: dec, distanceAu: dist, semidiameterArcsec: semidiameterArcsec(dist) };
}

export function semidiameterArcsec(distanceAu: number): number {
  return (Math.asin(sunRadiusKm / (distanceAu * auKm)) * 180 * 3600) / Math.PI;
}
