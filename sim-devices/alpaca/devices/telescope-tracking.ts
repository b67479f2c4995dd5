import type { MountMechanics } from "../../scene/mechanics/mount.ts";
import { hourAngleArcsecPerSecond, type TrackRate } from "../../scene/mechanics/mount-rates.ts";
import { checkedNumber, invalidOperation, invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";
import { checkNotBusy } from "./telescope-state.ts";

/** More would be a slew [s of right ascension per sidereal s, arcsec/s]. */
const offsetMax = { ra: 10, dec: 150 };

/** By DriveRate number. */
const driveRates: readonly TrackRate[] = ["sidereal", "lunar", "solar"];

/** Rates by number; one of its own counts as sidereal with offsets. */
function driveRateOf(rate: TrackRate): number {
  return Math.max(0, driveRates.indexOf(rate));
}

export function addTracking(members: MemberTable, mount: MountMechanics): void {
  members.setting("Tracking", "boolean", {
    read: () => mount.tracking,
    write: (on) => {
      if (mount.parked && !on) return;
      checkNotBusy(mount, "tracking");
      mount.setTracking(on);
    },
  });
  members.reads("trackingrates", () =>
    driveRates.flatMap((rate, number) => (rate === "solar" && !mount.hasSolarRate ? [] : [number])),
  );
  members.setting("TrackingRate", "int", {
    read: () => driveRateOf(mount.rate),
    write: (number) => {
      const rate = driveRates[number];
      if (!rate || (rate === "solar" && !mount.hasSolarRate))
        throw invalidValue(`there is no tracking rate ${number}`);
      if (mount.phase !== "still") throw invalidOperation("the mount slews");
      // Offsets belong to the sidereal rate: asking for that again leaves them.
      if (driveRateOf(mount.rate) !== number) mount.setTracking(mount.tracking, rate);
    },
  });
  members.setting("RightAscensionRate", "number", {
    read: () => rateOffsets(mount).ra,
    write: (ra) => setRateOffsets(mount, { ...rateOffsets(mount), ra }),
  });
  members.setting("DeclinationRate", "number", {
    read: () => rateOffsets(mount).dec,
    write: (dec) => setRateOffsets(mount, { ...rateOffsets(mount), dec }),
  });
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
function setRateOffsets(mount: MountMechanics, { ra, dec }: { ra: number; dec: number }): void {
  if (driveRateOf(mount.rate) !== 0) throw invalidOperation("rate offsets go with the sidereal rate only");
  if (mount.phase !== "still") throw invalidOperation("the mount slews");
  checkedNumber("right ascension rate", ra, -offsetMax.ra, offsetMax.ra);
  checkedNumber("declination rate", dec, -offsetMax.dec, offsetMax.dec);
  if (ra === 0 && dec === 0) {
    mount.setTracking(mount.tracking, "sidereal");
    return;
  }
  mount.customRate = { ha: hourAngleArcsecPerSecond.sidereal * (1 - ra), dec };
  mount.setTracking(mount.tracking, "custom");
}
