import {
  Body,
  Equator,
  GeoVector,
  Observer,
  RotateVector,
  Rotation_EQJ_EQD,
  RotationAxis,
  SiderealTime,
  Vector,
} from "astronomy-engine";

export interface Site {
  readonly latitudeDegrees: number;
  /** East positive. */
  readonly longitudeDegrees: number;
  readonly elevationMetres: number;
}

/** A direction of date, seen from the site. */
export interface Direction {
  readonly raHours: number;
  readonly decDegrees: number;
}

export interface SunPlace extends Direction {
  readonly hourAngleDegrees: number;
  /** With the air's refraction at sea level, 10 °C. */
  readonly altitudeDegrees: number;
  readonly semidiameterArcsec: number;
  /** Position angle of the Sun's north pole, from sky north through east. */
  readonly poleDegrees: number;
}

const radians = Math.PI / 180;
const sunRadiusKm = 695_700; // IAU 2015 Resolution B3, nominal
const auKm = 149_597_870.7; // IAU 2012 Resolution B2

/** Apparent sidereal time at the site [hours, 0 to 24]. */
export function siderealHours(site: Site, utcMs: number): number {
  return modulo(SiderealTime(new Date(utcMs)) + site.longitudeDegrees / 15, 24);
}

/** Where the Sun truly stands for the site: topocentric apparent place, its size and its axis. */
export function sunPlace(site: Site, utcMs: number): SunPlace {
  const date = new Date(utcMs);
  const observer = new Observer(site.latitudeDegrees, site.longitudeDegrees, site.elevationMetres);
  const place = Equator(Body.Sun, date, observer, true, true);
  const hourAngleDegrees = wrapDegrees((siderealHours(site, utcMs) - place.ra) * 15);
  const airless = altitudeDegrees(site, hourAngleDegrees, place.dec);
  return {
    raHours: place.ra,
    decDegrees: place.dec,
    hourAngleDegrees,
    altitudeDegrees: airless + refractionDegrees(airless),
    semidiameterArcsec: (Math.asin(sunRadiusKm / (place.dist * auKm)) / radians) * 3600,
    poleDegrees: poleDegrees(date),
  };
}

/** Airless altitude of a direction given by hour angle (west positive) and declination [degrees]. */
export function altitudeDegrees(site: Site, hourAngle: number, dec: number): number {
  const lat = site.latitudeDegrees * radians;
  const sine =
    Math.sin(lat) * Math.sin(dec * radians) +
    Math.cos(lat) * Math.cos(dec * radians) * Math.cos(hourAngle * radians);
  return Math.asin(Math.max(-1, Math.min(1, sine))) / radians; // rounding may pass 1
}

/** Azimuth from north through east [degrees, 0 to 360] of the same. */
export function azimuthDegrees(site: Site, hourAngle: number, dec: number): number {
  const lat = site.latitudeDegrees * radians;
  const h = hourAngle * radians;
  const d = dec * radians;
  const y = -Math.cos(d) * Math.sin(h);
  const x = Math.cos(lat) * Math.sin(d) - Math.sin(lat) * Math.cos(d) * Math.cos(h);
  return modulo(Math.atan2(y, x) / radians, 360);
}

/**
 * Where `target` stands as seen from `axis`: its distance, laid out east and north by its position angle [arcsec].
 * Holds for any distance; within a camera's field it equals the tangent plane to a few parts in 10^5.
 */
export function seenFrom(axis: Direction, target: Direction): { eastArcsec: number; northArcsec: number } {
  const d0 = axis.decDegrees * radians;
  const d1 = target.decDegrees * radians;
  const da = wrapDegrees((target.raHours - axis.raHours) * 15) * radians;
  // sin²(a/2) instead of 1 - cos a keeps the digits of a small angle.
  const east = Math.cos(d1) * Math.sin(da);
  const north = Math.sin(d1 - d0) + 2 * Math.cos(d1) * Math.sin(d0) * Math.sin(da / 2) ** 2;
  const sine = Math.hypot(east, north);
  const cosine = Math.sin(d0) * Math.sin(d1) + Math.cos(d0) * Math.cos(d1) * Math.cos(da);
  const scale = sine === 0 ? 0 : (Math.atan2(sine, cosine) / sine / radians) * 3600;
  return { eastArcsec: east * scale, northArcsec: north * scale };
}

export function separationDegrees(a: Direction, b: Direction): number {
  const { eastArcsec, northArcsec } = seenFrom(a, b);
  return Math.hypot(eastArcsec, northArcsec) / 3600;
}

/** Refraction for a true altitude, 1010 mbar and 10 °C. Saemundsson, Sky & Telescope 72 (1986) 70. */
function refractionDegrees(trueAltitude: number): number {
  if (trueAltitude < -1) return 0; // below the horizon the form has no meaning
  return 1.02 / Math.tan((trueAltitude + 10.3 / (trueAltitude + 5.11)) * radians) / 60;
}

/** Position angle of the rotation axis: pole and Sun in the equator of date, measured at the Sun. */
function poleDegrees(date: Date): number {
  const toDate = Rotation_EQJ_EQD(date);
  const sun = GeoVector(Body.Sun, date, true);
  const pole = RotationAxis(Body.Sun, date).north;
  const s = RotateVector(toDate, sun);
  const p = RotateVector(toDate, new Vector(pole.x, pole.y, pole.z, sun.t));
  const ra = Math.atan2(s.y, s.x);
  const dec = Math.atan2(s.z, Math.hypot(s.x, s.y));
  const east = -Math.sin(ra) * p.x + Math.cos(ra) * p.y;
  const north =
    -Math.sin(dec) * Math.cos(ra) * p.x - Math.sin(dec) * Math.sin(ra) * p.y + Math.cos(dec) * p.z;
  return Math.atan2(east, north) / radians;
}

export function modulo(value: number, period: number): number {
  return ((value % period) + period) % period;
}

/** To -180 … 180. */
export function wrapDegrees(value: number): number {
  return modulo(value + 180, 360) - 180;
}
