import type { MountMechanics } from "../../scene/mechanics/mount.ts";
import type { Direction } from "../../scene/sun/sun-place.ts";
import { checkedNumber, invalidOperation, invalidValue, whileParked } from "../ascom-error.ts";

export const raDec = { RightAscension: "number", Declination: "number" } as const;

/** Slews, parking and moving axes; neither tracking nor guide pulses. */
export function isSlewing(mount: MountMechanics): boolean {
  return mount.phase !== "still" || mount.jogging;
}

/** @throws AscomError 0x408 parked, 0x40B on its way to be */
export function checkNotBusy(mount: MountMechanics, what: string): void {
  if (mount.parked) throw whileParked(what);
  if (mount.phase === "parking") throw invalidOperation(`${what}: the mount is parking`);
}

/** @throws AscomError 0x401 for what is not on the sky */
export function checkedDirection(raHours: number, decDegrees: number): Direction {
  if (!(raHours >= 0 && raHours < 24)) throw invalidValue(`right ascension ${raHours} h is outside 0 to 24`);
  return { raHours, decDegrees: checkedNumber("declination", decDegrees, -90, 90) };
}
