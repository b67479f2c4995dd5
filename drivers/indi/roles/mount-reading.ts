import { ReadbackError } from "../../kit/errors.ts";
import type { Equatorial, MountState, TrackRate } from "../../roles/mount.ts";
import type { MountLook, Stillness } from "../../roles/stillness.ts";
import type { IndiDevice } from "../session/device.ts";
import type { RoleTools } from "../session/indi-role.ts";
import { numberIn, type PropertyVector, switchesOn, switchIn } from "../wire/property.ts";

export const eod = "EQUATORIAL_EOD_COORD";
export const motionAxes = ["TELESCOPE_MOTION_NS", "TELESCOPE_MOTION_WE"] as const;
export const pulseAxes = ["TELESCOPE_TIMED_GUIDE_NS", "TELESCOPE_TIMED_GUIDE_WE"] as const;

const rates = {
  TRACK_SIDEREAL: "sidereal",
  TRACK_SOLAR: "solar",
  TRACK_LUNAR: "lunar",
  TRACK_CUSTOM: "custom",
} as const;

export function trackModeElement(rate: TrackRate): string {
  return Object.entries(rates).find(([, one]) => one === rate)![0];
}

/** @throws ReadbackError if the mount gives no numbers */
export function pointingOf(device: IndiDevice, vector: PropertyVector): Equatorial {
  const raHours = numberIn(vector, "RA");
  const decDegrees = numberIn(vector, "DEC");
  if (
    raHours === undefined ||
    decDegrees === undefined ||
    !Number.isFinite(raHours) ||
    !Number.isFinite(decDegrees)
  ) {
    throw new ReadbackError(device.name, eod, "coordinates", `${raHours}, ${decDegrees}`);
  }
  return { raHours, decDegrees };
}

export interface MountTools extends RoleTools {
  readonly stillness: Stillness;
}

/** From the newest that the device has told. */
export function lookAt(device: IndiDevice): MountLook {
  const pointing = pointingOf(device, device.property(eod)!);
  return { pointing, reportsMotion: motionOf(device) !== "still", tracking: isTracking(device) };
}

/** Asked for anew, because an unchanged pointing is not sent while the mount tracks. */
export async function readPointing(device: IndiDevice, signal: AbortSignal): Promise<Equatorial> {
  return pointingOf(device, await device.refresh(eod, {}, signal));
}

export function isParking(device: IndiDevice): boolean {
  return device.property("TELESCOPE_PARK")?.state === "Busy";
}

/** TRACK_STATE is Busy when tracking and Idle when not: the switch counts. Without one, Ok coordinates mean tracking. */
export function isTracking(device: IndiDevice): boolean {
  const track = device.property("TELESCOPE_TRACK_STATE");
  return track ? switchIn(track, "TRACK_ON") === true : device.property(eod)?.state === "Ok";
}

export function trackRateOf(device: IndiDevice): TrackRate | undefined {
  const mode = device.property("TELESCOPE_TRACK_MODE");
  const [on] = switchesOn(mode);
  return on !== undefined && on in rates ? rates[on as keyof typeof rates] : undefined;
}

/** From the newest that the device has told; coordinates say Ok while jogging or parking, so other properties decide. */
export function motionOf(device: IndiDevice): MountState["motion"] {
  if (isParking(device)) return "parking";
  const jogging = motionAxes.some((name) => {
    const vector = device.property(name);
    // A refused jog leaves its switch on with state Idle: only Busy moves.
    return vector?.state === "Busy";
  });
  if (jogging || pulseAxes.some((name) => device.property(name)?.state === "Busy")) return "jogging";
  return device.property(eod)?.state === "Busy" ? "slewing" : "still";
}
