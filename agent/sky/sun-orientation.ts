import { type AstroTime, Body, GeoVector, RotateVector, Rotation_EQJ_EQD, Vector } from "astronomy-engine";
import { libraryTime } from "./sun-place.ts";

/** How the Sun's globe is turned towards the Earth. */
export interface SunOrientation {
  /** P: position angle of the Sun's north pole, from north through east [degrees, -180..180]. */
  readonly poleAngleDegrees: number;
  /** B0: heliographic latitude of the disc's centre. */
  readonly centreLatitudeDegrees: number;
  /** L0: heliographic (Carrington) longitude of the disc's centre, 0 to 360. */
  readonly centreLongitudeDegrees: number;
}

const degrees = Math.PI / 180;
/** Light time for one astronomical unit [days]. */
const lightDaysPerAu = 499.004784 / 86400;

type Triple = readonly [number, number, number];
const dot = (a: Triple, b: Triple) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a: Triple, b: Triple): Triple => [
  a[1] * b[2] - a[2] * b[1],
  a[2] * b[0] - a[0] * b[2],
  a[0] * b[1] - a[1] * b[0],
];

/** North pole of the Sun in the J2000 equator: IAU/IAG working group on cartographic coordinates. */
const poleRa = 286.13 * degrees;
const poleDec = 63.87 * degrees;
const north: Triple = [
  Math.cos(poleDec) * Math.cos(poleRa),
  Math.cos(poleDec) * Math.sin(poleRa),
  Math.sin(poleDec),
];
/** Node of the Sun's equator on the J2000 equator, from which the prime meridian is counted. */
const node: Triple = [-Math.sin(poleRa), Math.cos(poleRa), 0];

export function sunOrientation(utcMs: number): SunOrientation {
  return sunOrientationAt(libraryTime(utcMs));
}

/**
 * By vectors: the pole and the line of sight in the J2000 frame, then of date for the position angle.
 * Source: Archinal et al., Celestial Mechanics 109 (2011) 101 for the pole and W; the vectors are plain geometry.
 */
export function sunOrientationAt(time: AstroTime): SunOrientation {
  const toSun = GeoVector(Body.Sun, time, true);
  const distanceAu = toSun.Length();
  const toEarth: Triple = [-toSun.x / distanceAu, -toSun.y / distanceAu, -toSun.z / distanceAu];
  const meridianDegrees = 84.176 + 14.1844 * (time.tt - distanceAu * lightDaysPerAu);
  const longitude = Math.atan2(dot(toEarth, cross(north, node)), dot(toEarth, node)) / degrees;

  const toDate = Rotation_EQJ_EQD(time);
  const sun = RotateVector(toDate, toSun);
  const pole = RotateVector(toDate, new Vector(...north, time));
  const ra = Math.atan2(sun.y, sun.x);
  const dec = Math.asin(sun.z / distanceAu);
  const poleOfDate: Triple = [pole.x, pole.y, pole.z];
  const east: Triple = [-Math.sin(ra), Math.cos(ra), 0];
  const up: Triple = [-Math.sin(dec) * Math.cos(ra), -Math.sin(dec) * Math.sin(ra), Math.cos(dec)];
  return {
    poleAngleDegrees: Math.atan2(dot(poleOfDate, east), dot(poleOfDate, up)) / degrees,
    centreLatitudeDegrees: Math.asin(dot(north, toEarth)) / degrees,
    centreLongitudeDegrees: (((longitude - meridianDegrees) % 360) + 360) % 360,
  };
}
