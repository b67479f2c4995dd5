import type { MountMechanics } from "../../scene/mechanics/mount.ts";
import { invalidOperation, invalidValue } from "../ascom-error.ts";
import type { MemberTable } from "../member-table.ts";
import { driveRateOf, driveRates, rateOffsets, setRateOffsets } from "./telescope-rates.ts";
import { checkNotBusy } from "./telescope-state.ts";

/** More would be a slew [s of right ascension per sidereal s, arcsec/s]. */
const offsetMax = { ra: 10, dec: 150 };

export function addTracking(members: MemberTable, mount: MountMechanics): void {
  members.reads("tracking", () => mount.tracking);
  members.writes("tracking", { Tracking: "boolean" }, ({ Tracking }) => {
    if (mount.parked && !Tracking) return;
    checkNotBusy(mount, "tracking");
    mount.setTracking(Tracking);
  });
  members.reads("trackingrates", () => driveRates.map((_, number) => number));
  members.reads("trackingrate", () => driveRateOf(mount.rate));
  members.writes("trackingrate", { TrackingRate: "int" }, ({ TrackingRate }) => {
    const rate = driveRates[TrackingRate];
    if (!rate) throw invalidValue(`there is no tracking rate ${TrackingRate}`);
    if (mount.phase !== "still") throw invalidOperation("the mount slews");
    // Offsets belong to the sidereal rate: asking for that again leaves them.
    if (driveRateOf(mount.rate) !== TrackingRate) mount.setTracking(mount.tracking, rate);
  });
  members.reads("rightascensionrate", () => rateOffsets(mount).ra);
  members.reads("declinationrate", () => rateOffsets(mount).dec);
  members.writes("rightascensionrate", { RightAscensionRate: "number" }, ({ RightAscensionRate: ra }) =>
    offset(mount, { ...rateOffsets(mount), ra }),
  );
  members.writes("declinationrate", { DeclinationRate: "number" }, ({ DeclinationRate: dec }) =>
    offset(mount, { ...rateOffsets(mount), dec }),
  );
}

function offset(mount: MountMechanics, wanted: { readonly ra: number; readonly dec: number }): void {
  if (driveRateOf(mount.rate) !== 0) throw invalidOperation("rate offsets go with the sidereal rate only");
  if (mount.phase !== "still") throw invalidOperation("the mount slews");
  if (Math.abs(wanted.ra) > offsetMax.ra || Math.abs(wanted.dec) > offsetMax.dec) {
    throw invalidValue(
      `offsets of ${wanted.ra} and ${wanted.dec} are beyond ${offsetMax.ra} and ${offsetMax.dec}`,
    );
  }
  setRateOffsets(mount, wanted);
}
