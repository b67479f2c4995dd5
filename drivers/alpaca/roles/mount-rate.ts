import { MissingAbilityError, ReadbackError } from "../../kit/errors.ts";
import type { TrackRate } from "../../roles/mount.ts";
import { ensureProperty, type Property } from "../session/kept-setting.ts";
import { AscomError, NotImplementedError } from "../wire/errors.ts";
import { flag, number, whole } from "../wire/values.ts";
import { driveRate } from "./mount-facts.ts";
import { type MountTools, readMount, readRateOffsets, readTrackRate } from "./mount-reading.ts";

export const trackingRate: Property<number> = {
  name: "TrackingRate",
  schema: whole,
};
export const raOffset: Property<number> = {
  name: "RightAscensionRate",
  schema: number,
  tolerance: 1e-6,
};
export const decOffset: Property<number> = {
  name: "DeclinationRate",
  schema: number,
  tolerance: 1e-5,
};
const tracking: Property<boolean> = { name: "Tracking", schema: flag };

/** Rate and tracking, both proved by reading back. @throws MissingAbilityError, ReadbackError */
export async function trackAt(tools: MountTools, rate: TrackRate, signal: AbortSignal): Promise<void> {
  await setTrackRate(tools, rate, signal);
  await setTracking(tools, true, signal);
  // Some mounts fall back to sidereal when tracking starts.
  if ((await readTrackRate(tools, signal)) !== rate) await setTrackRate(tools, rate, signal);
  const reads = await readTrackRate(tools, signal);
  const mayNotTell = reads === undefined && rate === "sidereal";
  if (reads !== rate && !mayNotTell) {
    throw new ReadbackError(tools.device.name, "tracking rate", rate, reads);
  }
}

/** @throws MissingAbilityError, ReadbackError */
export async function setTrackRate(tools: MountTools, rate: TrackRate, signal: AbortSignal): Promise<void> {
  const { device, facts } = tools;
  const wanted = rate === "custom" ? undefined : driveRate[rate];
  if (wanted === undefined || !facts().trackingRates.includes(wanted)) {
    throw new MissingAbilityError(device.name, `this mount cannot track at ${rate} rate`);
  }
  await clearOffsets(tools, signal);
  try {
    await ensureProperty(device, trackingRate, wanted, signal);
  } catch (error) {
    // A mount with one rate need not let it be read or set.
    if (!(error instanceof NotImplementedError) || rate !== "sidereal") throw error;
  }
}

/** Offsets that somebody left would bend every rate; where they cannot be written they are not in force. */
async function clearOffsets(tools: MountTools, signal: AbortSignal): Promise<void> {
  const { ra, dec } = await readRateOffsets(tools, signal);
  if ((ra ?? 0) === 0 && (dec ?? 0) === 0) return;
  try {
    await setRateOffsets(tools, [0, 0], signal);
  } catch (error) {
    if (!(error instanceof AscomError)) throw error;
    tools.log.warn(
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

/** They can be written only at sidereal rate, and stay until they are changed. */
export async function setRateOffsets(
  { device, facts }: MountTools,
  [ra = 0, dec = 0]: readonly number[],
  signal: AbortSignal,
): Promise<void> {
  if (facts().canSetRaRate) await ensureProperty(device, raOffset, ra, signal);
  if (facts().canSetDecRate) await ensureProperty(device, decOffset, dec, signal);
}
