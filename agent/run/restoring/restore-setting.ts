import type { Clock } from "../../../drivers/kit/clock.ts";
import { withDeadline } from "../../../drivers/kit/deadline.ts";
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
  tools: RestoreTools,
): Promise<SettingValue | undefined> {
  const settings = await withDeadline(
    tools.clock,
    {
      device: device.name,
      what: "reading its settings",
      withinSeconds: readSecondsMax,
      signal: tools.signal,
    },
    (signal) => device.readSettings(signal),
  );
  return settings.find((setting) => setting.key === key)?.value;
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
  let why = "";
  let after: SettingValue | undefined;
  for (let attempt = 0; attempt < tries; attempt++) {
    if (attempt > 0) await tools.clock.sleep(pausesSeconds[attempt - 1] ?? 10, tools.signal);
    try {
      after = await readSetting(device, entry.setting.key, tools);
      if (isRestored(device, entry.setting, after)) return settingRecord(entry, after, "same");
      await withDeadline(
        tools.clock,
        {
          device: device.name,
          what: `putting back ${entry.setting.key}`,
          withinSeconds: oneTrySecondsMax,
          signal: tools.signal,
        },
        (signal) => device.restoreSetting(entry.setting, signal),
      );
      after = await readSetting(device, entry.setting.key, tools);
      if (isRestored(device, entry.setting, after)) return settingRecord(entry, after, "same");
      why = `reads ${JSON.stringify(after)} after it was put back`;
    } catch (error) {
      why = error instanceof Error ? error.message : String(error);
    }
    tools.log.warn(
      { device: device.name, setting: entry.setting.key, attempt: attempt + 1, why },
      "could not put back",
    );
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
    ...(setting.unit === undefined ? {} : { unit: setting.unit }),
    before: setting.value,
    ...(after === undefined ? {} : { after }),
    state,
    ...(why === undefined ? {} : { why }),
  };
}
