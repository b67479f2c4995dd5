import { neverAborted } from "../../kit/never-aborted.ts";
import type { Equatorial } from "../../roles/mount.ts";
import { distanceDegrees } from "../../roles/mount-sky.ts";
import type { IndiDevice } from "../session/device.ts";
import { quickChangeSeconds } from "../session/kept-setting.ts";
import { switchesOn } from "../wire/property.ts";
import { eod, pointingOf } from "./mount-reading.ts";
import { setOnCoordSet } from "./mount-slew.ts";

const toleranceArcsec = 30;

/**
 * Tells the mount where it points. ON_COORD_SET is put back whatever happens: left on SYNC, the next goto of anybody
 * would falsify the mount's model instead of moving it.
 */
export async function syncMount(device: IndiDevice, actual: Equatorial, signal: AbortSignal): Promise<void> {
  const [before] = switchesOn(device.property("ON_COORD_SET"));
  await setOnCoordSet(device, "SYNC", signal);
  try {
    await device.change(
      eod,
      { RA: actual.raHours, DEC: actual.decDegrees },
      {
        withinSeconds: 20,
        finalStates: ["Ok", "Idle"],
        arrived: (vector) => distanceDegrees(pointingOf(device, vector), actual) * 3600 < toleranceArcsec,
      },
      signal,
    );
  } finally {
    const back = before === undefined || before === "SYNC" ? "TRACK" : before;
    const options = { withinSeconds: quickChangeSeconds, finalStates: ["Ok", "Idle"] } as const;
    await device.change("ON_COORD_SET", { [back]: true }, options, neverAborted);
  }
}
