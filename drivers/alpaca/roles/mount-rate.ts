import { MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import type { Log } from "../../kit/log.ts";
import type { TrackRate } from "../../roles/mount.ts";
import { ensureProperty, type Property } from "../session/kept-setting.ts";
import { AscomError, NotImplementedError } from "../wire/errors.ts";
import { flag } from "../wire/values.ts";
import { driveRate } from "./mount-facts.ts";
import { type MountTools, readMount, readRateOffsets, readTrackRate } from "./mount-reading.ts";
import { setRateOffsets, trackingRate } from "./mount-settings.ts";

const tracking: Property<boolean> = { member: "tracking", parameter: "Tracking", schema: flag };

/** Rate and tracking, both proved by reading back. @throws MissingAbilityError, ReadbackError */
export async function trackAt(
  tools: MountTools,
  log: Log,
  rate: TrackRate,
  signal: AbortSignal,
): Promise<void> {
  await setTrackRate(tools, log, rate, signal);
  await setTracking(tools, true, signal);
  // Some mounts fall back to sidereal when tracking starts.
  if ((await readTrackRate(tools, signal)) !== rate) await setTrackRate(tools, log, rate, signal);
  const reads = await readTrackRate(tools, signal);
  const mayNotTell = reads === undefined && rate === "sidereal";
  if (reads !== rate && !mayNotTell) {
    throw new ReadbackError(tools.device.name, "tracking rate", rate, reads);
  }
}

/** @throws MissingAbilityError, ReadbackError */
export async function setTrackRate(
  tools: MountTools,
  log: Log,
  rate: TrackRate,
  signal: AbortSignal,
): Promise<void> {
  const { device, facts } = tools;
  const wanted = rate === "custom" ? undefined : driveRate[rate];
  if (wanted === undefined || !facts().trackingRates.includes(wanted)) {
    throw new MissingAbilityError(device.name, `this mount cannot track at ${rate} rate`);
  }
  await clearOffsets(tools, log, signal);
  try {
    await ensureProperty(device, trackingRate, wanted, signal);
  } catch (error) {
    // A mount with one rate need not let it be read or set.
    if (!(error instanceof NotImplementedError) || rate !== "sidereal") throw error;
  }
}

/** Offsets that somebody left would bend every rate; where they cannot be written they are not in force. */
async function clearOffsets(tools: MountTools, log: Log, signal: AbortSignal): Promise<void> {
  const { ra, dec } = await readRateOffsets(tools, signal);
  if ((ra ?? 0) === 0 && (dec ?? 0) === 0) return;
  try {
    await setRateOffsets(tools, [0, 0], signal);
  } catch (error) {
    if (!(error instanceof AscomError)) throw error;
    log.warn(
      { device: tools.device.name, ra, dec, error: String(error) },
      "rate offsets could not be cleared",
    );
  }
}

/** @throws MissingAbilityError, ReadbackError */
export async function setTracking(tools: MountTools, on: boolean, signal: AbortSignal): Promise<void> {
  const { device, facts } = tools;
  if ((await readMount(tools, signal)).tracking === on) return;
  if (!facts().canSetTracking) {
    const word = on ? "on" : "off";
    throw new MissingAbilityError(device.name, `this mount does not let tracking be switched ${word}`);
  }
  await ensureProperty(device, tracking, on, signal);
}
