import type { MountMechanics } from "../../scene/mechanics/mount.ts";
import { hourAngleArcsecPerSecond, type TrackRate } from "../../scene/mechanics/mount-rates.ts";

/** DriveRate numbers of the rates that this mount has. */
export const driveRates: readonly TrackRate[] = ["sidereal", "lunar", "solar"];

/** Rates by number; one of its own counts as sidereal with offsets. */
export function driveRateOf(rate: TrackRate): number {
  return Math.max(0, driveRates.indexOf(rate));
}

/**
 * What stands on top of the sidereal rate: seconds of right ascension per sidereal second, and arcseconds per second
 * of time in declination. At other rates both read 0.
 */
export function rateOffsets(mount: MountMechanics): { ra: number; dec: number } {
  if (mount.rate !== "custom") return { ra: 0, dec: 0 };
  // A second of right ascension is 15 arcsec and a sidereal second 15 / 15.041 s: the factors cancel.
  return { ra: 1 - mount.customRate.ha / hourAngleArcsecPerSecond.sidereal, dec: mount.customRate.dec };
}

/** Offsets of 0 are the sidereal rate itself. */
export function setRateOffsets(mount: MountMechanics, { ra, dec }: { ra: number; dec: number }): void {
  if (ra === 0 && dec === 0) {
    mount.setTracking(mount.tracking, "sidereal");
    return;
  }
  mount.customRate = { ha: hourAngleArcsecPerSecond.sidereal * (1 - ra), dec };
  mount.setTracking(mount.tracking, "custom");
}
