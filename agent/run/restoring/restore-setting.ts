import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
import { UnreachableError } from "../../../drivers/kit/errors.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { Device, Setting, SettingValue } from "../../../drivers/roles/device.ts";
import type { BaselineEntry, SettingRecord } from "../record/run-record.ts";

/** Pauses before the second and third try [s]: a driver that restarts is back after some seconds. */
const pausesSeconds = [2, 10];
/** Longer than the longest slew, park or turn of a dome; each driver has tighter limits of its own [s]. */
const oneTrySecondsMax = 300;
const readSecondsMax = 90;

export interface RestoreTools {
  readonly clock: Clock;
  readonly log: Log;
  /** Never the signal that ended the run: cleaning up has a budget of its own. */
  readonly signal: AbortSignal;
}

/** @returns the value as read back, `undefined` when it is not there or the device did not answer */
export async function readSetting(
  device: Device,
  key: string,
  tools: Pick<RestoreTools, "clock" | "signal">,
): Promise<SettingValue | undefined> {
  return (await readSettingsOf(device, tools)).find((setting) => setting.key === key)?.value;
}

/** @throws what a device throws that does not answer */
export function readSettingsOf(
  device: Device,
  { clock, signal }: Pick<RestoreTools, "clock" | "signal">,
): Promise<readonly Setting[]> {
  const limits = { device: device.name, what: "reading its settings", withinSeconds: readSecondsMax, signal };
  return withDeadline(clock, limits, (limited) => device.readSettings(limited));
}

/**
 * Puts one setting back and proves it by reading. Tries a few times; then says why it could not.
 * @param tries how often at most
 */
export async function restoreSettingOf(
  device: Device,
  entry: BaselineEntry,
  tools: RestoreTools,
  tries = pausesSeconds.length + 1,
): Promise<SettingRecord> {
  const { clock, log, signal } = tools;
  const { setting } = entry;
  const what = `putting back ${setting.key}`;
  const limits = { device: device.name, what, withinSeconds: oneTrySecondsMax, signal };
  let why = "";
  let after: SettingValue | undefined;
  for (let attempt = 0; attempt < tries; attempt++) {
    if (attempt > 0) await clock.sleep(pausesSeconds[attempt - 1] ?? 10, signal);
    try {
      after = await readSetting(device, setting.key, tools);
      if (isRestored(device, setting, after)) return settingRecord(entry, after, "same");
      await withDeadline(clock, limits, (limited) => device.restoreSetting(setting, limited));
      after = await readSetting(device, setting.key, tools);
      if (isRestored(device, setting, after)) return settingRecord(entry, after, "same");
      why = `reads ${JSON.stringify(after)} after it was put back`;
    } catch (error) {
      why = error instanceof Error ? error.message : String(error);
      if (error instanceof UnreachableError) break; // it was waited for already
    }
    log.warn({ device: device.name, setting: setting.key, attempt: attempt + 1, why }, "could not put back");
  }
  return settingRecord(entry, after, "different", why);
}

export function isRestored(device: Device, before: Setting, now: SettingValue | undefined): boolean {
  return now !== undefined && device.sameSetting(before, { ...before, value: now });
}

export function settingRecord(
  entry: BaselineEntry,
  after: SettingValue | undefined,
  state: SettingRecord["state"],
  why?: string,
): SettingRecord {
  const { role, device, setting } = entry;
  return {
    role,
    device,
    key: setting.key,
    ...given({ unit: setting.unit }),
    before: setting.value,
    ...given({ after }),
    state,
    ...given({ why }),
  };
}
