import { hoursBetween, wrapHours } from "../kit/sidereal.ts";
import type { Equatorial } from "./mount.ts";

export interface SkyOffset {
  readonly eastArcsec: number;
  readonly northArcsec: number;
}

const arcsecPerHour = 15 * 3600;

/** Small offsets on the sky between two places (flat-sky approximation, good to about a degree away from the poles). */
export function skyOffset(from: Equatorial, to: Equatorial): SkyOffset {
  return {
    eastArcsec: hoursBetween(from.raHours, to.raHours) * arcsecPerHour * cosDegrees(from.decDegrees),
    northArcsec: (to.decDegrees - from.decDegrees) * 3600,
  };
}

/** The place that lies by so much away; never beyond a pole. */
export function offsetBy(from: Equatorial, by: SkyOffset): Equatorial {
  const cos = Math.max(cosDegrees(from.decDegrees), 1e-3);
  return {
    raHours: wrapHours(from.raHours + by.eastArcsec / arcsecPerHour / cos),
    decDegrees: Math.min(90, Math.max(-90, from.decDegrees + by.northArcsec / 3600)),
  };
}

/** Great-circle distance [degrees]; haversine, exact also for tiny ones. */
export function distanceDegrees(a: Equatorial, b: Equatorial): number {
  const rad = Math.PI / 180;
  const h =
    Math.sin(((b.decDegrees - a.decDegrees) * rad) / 2) ** 2 +
    cosDegrees(a.decDegrees) *
      cosDegrees(b.decDegrees) *
      Math.sin((hoursBetween(a.raHours, b.raHours) * 15 * rad) / 2) ** 2;
  return (2 * Math.asin(Math.min(1, Math.sqrt(h)))) / rad;
}

export function lengthArcsec(offset: SkyOffset): number {
  return Math.hypot(offset.eastArcsec, offset.northArcsec);
}

function cosDegrees(degrees: number): number {
  return Math.cos((degrees * Math.PI) / 180);
}
