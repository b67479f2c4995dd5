import { hoursBetween, wrapHours } from "../../../drivers/kit/sidereal.ts";
import type { Equatorial, Mount, PierSide } from "../../../drivers/roles/mount.ts";

/**
 * So near the meridian a slew may end on either side of the pier [h]: the mount's own site and clock, and where it is set
 * to change sides, differ from ours by minutes.
 */
const eitherSideHours = 0.1;
/** Between asking for a place's side and the slew to it. */
const delayHours = 1 / 60;

/** The side on which each mount's last slew ended, where it tells none; "either" near the meridian. */
const sideOfLastSlew = new WeakMap<Mount, PierSide | "either">();

/**
 * Whether a slew may carry the tube round to the other side of the pier. By the mount's own word where it has one; else by
 * the meridian, on whose two sides a German mount points from the two sides of its pier. A mount that tracked through the
 * meridian changes sides at its next slew.
 */
export async function mayFlip(
  mount: Mount,
  target: Equatorial,
  siderealHours: number,
  signal: AbortSignal,
): Promise<boolean> {
  const now = await mount.pierSide("now", signal);
  const then = now && (await mount.pierSide(target, signal));
  if (now && then) {
    // The slew is not sent in the moment of the question, and begins later still.
    const later = { ...target, raHours: wrapHours(target.raHours - delayHours) };
    return now !== then || now !== (await mount.pierSide(later, signal));
  }
  const side = sideOfMeridian(target, siderealHours);
  const before = now ?? sideOfLastSlew.get(mount);
  // One that nobody here has slewed and that points west may have come there by tracking.
  return side === "either" || (before === undefined ? side === "east" : before !== side);
}

/** To be told of every slew that `mayFlip` is asked about later. */
export function noteSlew(mount: Mount, target: Equatorial, siderealHours: number): void {
  sideOfLastSlew.set(mount, sideOfMeridian(target, siderealHours));
}

/** East of the pier the tube looks west, where the hour angle is positive. */
function sideOfMeridian({ raHours }: Equatorial, siderealHours: number): PierSide | "either" {
  const hours = hoursBetween(raHours, siderealHours);
  if (Math.abs(hours) < eitherSideHours) return "either";
  return hours > 0 ? "east" : "west";
}
