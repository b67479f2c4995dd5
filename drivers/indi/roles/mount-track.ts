import { MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import type { TrackRate } from "../../roles/mount.ts";
import type { IndiDevice } from "../session/device.ts";
import { changeValues } from "../session/kept-setting.ts";
import { type PropertyVector, switchesOn, switchIn } from "../wire/property.ts";
import { isTracking, trackModeElement } from "./mount-reading.ts";

/** @throws MissingAbilityError, ReadbackError */
export async function setTrackRate(device: IndiDevice, rate: TrackRate, signal: AbortSignal): Promise<void> {
  const modes = device.property("TELESCOPE_TRACK_MODE");
  const element = trackModeElement(rate);
  if (switchIn(modes, element) === undefined) {
    if (!modes && rate === "sidereal") return; // the only rate that such a mount has
    throw new MissingAbilityError(device.name, `this mount cannot track at ${rate} rate`);
  }
  if (switchesOn(await device.refresh("TELESCOPE_TRACK_MODE", {}, signal)).join() === element) return;
  await changeValues(device, "TELESCOPE_TRACK_MODE", { [element]: true }, signal);
}

/** TRACK_STATE ends Busy when on and Idle when off, and Idle too when refused: the switch itself is waited for. */
export async function setTracking(device: IndiDevice, on: boolean, signal: AbortSignal): Promise<void> {
  const property = "TELESCOPE_TRACK_STATE";
  if (!device.property(property)) {
    if (on && !isTracking(device)) {
      throw new MissingAbilityError(device.name, "tracking cannot be commanded");
    }
    return;
  }
  const isSo = (vector: PropertyVector) => switchIn(vector, "TRACK_ON") === on;
  if (isSo(await device.refresh(property, {}, signal))) return;
  const sent = await device.send(property, { TRACK_ON: on, TRACK_OFF: !on }, signal);
  await device
    .waitFor(property, (v) => !v.awaitingAnswer && isSo(v), { after: sent, withinSeconds: 10 }, signal)
    .catch(() => signal.throwIfAborted());
  const now = await device.refresh(property, {}, signal);
  if (!isSo(now) || now.state === "Alert") {
    throw new ReadbackError(
      device.name,
      "tracking",
      on ? "on" : "off",
      `${switchesOn(now).join()} (${now.state})`,
    );
  }
}
