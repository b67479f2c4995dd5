import {
  altitudeDegrees,
  azimuthDegrees,
  type Direction,
  modulo,
  type Site,
} from "../../scene/sun/sun-place.ts";

const radians = Math.PI / 180;

export interface Horizontal {
  readonly altitude: number;
  /** From north through east. */
  readonly azimuth: number;
}

export function horizontalOf(place: Direction, site: Site, siderealHours: number): Horizontal {
  const hourAngle = (siderealHours - place.raHours) * 15;
  return {
    altitude: altitudeDegrees(site, hourAngle, place.decDegrees),
    azimuth: azimuthDegrees(site, hourAngle, place.decDegrees),
  };
}

/** The inverse: J. Meeus, Astronomical Algorithms, ch. 13, with the azimuth counted from north. */
export function equatorialOf(
  { altitude, azimuth }: Horizontal,
  site: Site,
  siderealHours: number,
): Direction {
  const [alt, az, lat] = [altitude * radians, azimuth * radians, site.latitudeDegrees * radians];
  const sinDec = Math.sin(lat) * Math.sin(alt) + Math.cos(lat) * Math.cos(alt) * Math.cos(az);
  const hourAngle = Math.atan2(
    -Math.cos(alt) * Math.sin(az),
    Math.sin(alt) * Math.cos(lat) - Math.cos(alt) * Math.sin(lat) * Math.cos(az),
  );
  return {
    raHours: modulo(siderealHours - hourAngle / radians / 15, 24),
    decDegrees: Math.asin(Math.max(-1, Math.min(1, sinDec))) / radians,
  };
}
