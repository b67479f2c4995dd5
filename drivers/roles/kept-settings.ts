import { MissingAbilityError } from "../kit/errors.ts";
import { given } from "../kit/given.ts";
import { resolveEach } from "../kit/resolve-all.ts";
import type { Setting, SettingValue } from "./device.ts";

/** One thing that a device keeps, and how an adapter reads it and puts it back. */
export interface KeptSetting {
  readonly key: string;
  readonly unit?: string;
  /** `undefined`: the device does not have it, or does not know; nothing to put back then. */
  read(signal: AbortSignal): Promise<SettingValue | undefined>;
  /** Does nothing if it is so already; reads back. */
  restore(value: SettingValue, signal: AbortSignal): Promise<void>;
  /** Default: the very same value. */
  same?(before: SettingValue, now: SettingValue): boolean;
}

/** Whether the device is connected: the one setting that every adapter keeps itself. */
export const connectionKey = "connected";

/** A cover or shutter: what did not know its place at the start is left closed, the safe way. */
export function openOrClosedSetting(
  key: string,
  read: KeptSetting["read"],
  bringTo: (wanted: "open" | "closed", signal: AbortSignal) => Promise<void>,
): KeptSetting {
  return {
    key,
    read,
    restore: (value, signal) => bringTo(value === "open" ? "open" : "closed", signal),
    same: (before, now) => before === now || (before === "unknown" && now === "closed"),
  };
}

/** All that the device has now, in the order given. */
export async function readKeptSettings(
  kept: readonly KeptSetting[],
  signal: AbortSignal,
): Promise<Setting[]> {
  const values = await resolveEach(kept.map((one) => one.read(signal)));
  return kept.flatMap(({ key, unit }, i): Setting[] => {
    const value = values[i];
    return value === undefined ? [] : [{ key, value, ...given({ unit }) }];
  });
}

/** @throws MissingAbilityError when the device has lost what it had */
export function requireSetting(kept: readonly KeptSetting[], key: string, device: string): KeptSetting {
  const found = kept.find((one) => one.key === key);
  if (!found) throw new MissingAbilityError(device, `the setting ${key} is not offered any more`);
  return found;
}

export function isSameSetting(kept: readonly KeptSetting[], before: Setting, now: Setting): boolean {
  if (before.key !== now.key) return false;
  if (before.key === connectionKey) return before.value === now.value;
  const setting = kept.find((one) => one.key === before.key);
  if (!setting) return false;
  return setting.same?.(before.value, now.value) ?? before.value === now.value;
}

/** Once disconnected a device shows nothing: what was read just before, but for the connection. */
export function withDisconnected(settings: readonly Setting[]): Setting[] {
  return settings.map((one) => (one.key === connectionKey ? { ...one, value: false } : one));
}
