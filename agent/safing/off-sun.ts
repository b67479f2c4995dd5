import type { Equatorial, Site } from "../../drivers/roles/mount.ts";
import { separationDegrees } from "../sky/separation.ts";
import { sunFromSite } from "../sky/sun-from-site.ts";

/** Nearer than this the Sun may fall into the telescope or a finder on it [degrees]; common practice, no source. */
export const nearSunDegrees = 15;
/** Refraction and the Sun's radius have brought the last of it below a level horizon [degrees]. */
const sunsetDegrees = -1;
/**
 * How far off the Sun the telescope is turned [degrees]. Far outside the field of any telescope, finder or guide
 * telescope (common practice, no source; the leak check uses the same distance), and across the Sun's daily path
 * rather than along it, so that a mount left standing there is not crossed by the Sun later in the day.
 */
const retreatDegrees = 30;
/** A path is looked at so densely [degrees]. */
const stepDegrees = 3;

/** Where to turn: the Sun's hour angle, towards the visible pole, which is never lower than the Sun itself. */
export function retreatPointing(site: Site, utcMs: number): Equatorial {
  const sun = sunFromSite(utcMs, site);
  const towardsPole = site.latitudeDegrees >= 0 ? retreatDegrees : -retreatDegrees;
  return { raHours: sun.raHours, decDegrees: sun.decDegrees + towardsPole };
}

export function isSunUp(site: Site, utcMs: number): boolean {
  return sunFromSite(utcMs, site).altitudeDegrees > sunsetDegrees;
}

export function sunSeparationDegrees(place: Equatorial, site: Site, utcMs: number): number {
  return separationDegrees(place, sunFromSite(utcMs, site));
}

/**
 * Whether a slew keeps well off the Sun, however the two axes share the way: all places between are looked at.
 * The right ascension is taken to go the shorter way; a mount that goes round the other way is outside of this.
 */
export function isPathOffSun(from: Equatorial, to: Equatorial, site: Site, utcMs: number): boolean {
  const sun = sunFromSite(utcMs, site);
  const byHours = ((to.raHours - from.raHours + 36) % 24) - 12;
  const byDegrees = to.decDegrees - from.decDegrees;
  const columns = Math.max(1, Math.ceil(Math.abs(byHours * 15) / stepDegrees));
  const rows = Math.max(1, Math.ceil(Math.abs(byDegrees) / stepDegrees));
  for (let column = 0; column <= columns; column++) {
    for (let row = 0; row <= rows; row++) {
      const raHours = from.raHours + (byHours * column) / columns;
      const decDegrees = from.decDegrees + (byDegrees * row) / rows;
      if (separationDegrees({ raHours, decDegrees }, sun) < nearSunDegrees) return false;
    }
  }
  return true;
}
