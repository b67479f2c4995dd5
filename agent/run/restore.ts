import { DeviceError } from "../../drivers/kit/errors.ts";
import type { Device } from "../../drivers/roles/device.ts";
import { devicesOf, type Rig } from "../../drivers/roles/rig.ts";
import { ensureQuiet, tryTo } from "./make-safe.ts";
import { opensCover, type RestorePhases, restorePhases } from "./restore-order.ts";
import { isSame, type RestoreTools, readNow, restoreEntry, settingRecord } from "./restore-setting.ts";
import type { BaselineEntry, SettingRecord } from "./run-record.ts";

export interface RestoreAsk extends RestoreTools {
  readonly rig: Rig;
  readonly baseline: readonly BaselineEntry[];
  /** Remembers in the ledger what is back; called once per setting and again if it changes its mind. */
  mark(entry: BaselineEntry, restored: boolean): void;
  /** Whether the cover may be opened if that is how it was found; the reason when not. Asked when all else is back. */
  mayOpenCover(signal: AbortSignal): Promise<true | string>;
}

/**
 * Puts the rig back as the baseline says, in a safe order: everything still, cover closed, then what stands in the
 * light, the mount and the dome behind the closed cover, the cover itself, and the connections last. Every value
 * is read back. Never throws for a device's sake; doing it again, or going on after a crash half way, is harmless.
 */
export async function restoreBaseline(ask: RestoreAsk): Promise<readonly SettingRecord[]> {
  const phases = restorePhases(ask.baseline);
  const touched = [...phases.behindCover, ...phases.cover];
  if (touched.length > 0) await makeSafe(ask); // a run that was killed while it connected has touched nothing else
  const devices = new Map<string, Device>(
    devicesOf(ask.rig).map((device) => [`${device.role}/${device.name}`, device]),
  );
  const round = new Round(ask, devices);
  for (const entry of phases.behindCover) await round.putBack(entry);
  await round.secondLook(phases.behindCover);
  await restoreCover(ask, phases, round);
  for (const entry of phases.connections) await round.putBack(entry);
  return ask.baseline.map((entry) => round.records.get(entry)!);
}

async function makeSafe(ask: RestoreAsk): Promise<void> {
  await ensureQuiet(ask.rig, ask);
  const { cover } = ask.rig;
  if (cover) await tryTo("close the cover", ask, (signal) => cover.ensureClosed(signal));
}

async function restoreCover(ask: RestoreAsk, phases: RestorePhases, round: Round): Promise<void> {
  for (const entry of phases.cover) {
    if (opensCover(entry)) {
      const may = round.allBack(phases.behindCover)
        ? await ask.mayOpenCover(ask.signal)
        : "the rest is not as it was";
      if (may !== true) {
        await round.keep(entry, `left closed: ${may}`);
        continue;
      }
    }
    await round.putBack(entry);
  }
}

/** One go through the settings, remembering what came of each and which devices are gone. */
class Round {
  readonly records = new Map<BaselineEntry, SettingRecord>();
  readonly #silent = new Set<Device>();

  constructor(
    readonly ask: RestoreAsk,
    readonly devices: ReadonlyMap<string, Device>,
  ) {}

  async putBack(entry: BaselineEntry): Promise<void> {
    const device = this.#deviceOf(entry);
    if (!device)
      return this.#record(
        entry,
        settingRecord(entry, undefined, "different", "the rig has no such device now"),
      );
    // A device that was silent through all tries gets one more per setting, not three.
    const record = await restoreEntry(device, entry, this.ask, this.#silent.has(device) ? 1 : undefined);
    if (record.state === "different" && !(await device.isAlive(this.ask.signal))) this.#silent.add(device);
    else this.#silent.delete(device);
    this.#record(entry, record);
  }

  /** Putting one setting back may have changed another: all are read again, and what moved is put back once more. */
  async secondLook(entries: readonly BaselineEntry[]): Promise<void> {
    for (const entry of entries) {
      const device = this.#deviceOf(entry);
      if (!device) continue;
      if (this.records.get(entry)?.state === "same") {
        try {
          if (isSame(device, entry.setting, await readNow(device, entry.setting.key, this.ask))) continue;
        } catch (error) {
          if (!(error instanceof DeviceError)) throw error;
        }
      }
      await this.putBack(entry);
    }
  }

  async keep(entry: BaselineEntry, why: string): Promise<void> {
    const device = this.#deviceOf(entry);
    const now = device && (await readNow(device, entry.setting.key, this.ask).catch(() => undefined));
    const same = device !== undefined && isSame(device, entry.setting, now);
    this.#record(entry, settingRecord(entry, now, same ? "same" : "keptSafe", same ? undefined : why));
  }

  allBack(entries: readonly BaselineEntry[]): boolean {
    return entries.every((entry) => this.records.get(entry)?.state === "same");
  }

  #deviceOf(entry: BaselineEntry): Device | undefined {
    return this.devices.get(`${entry.role}/${entry.device}`);
  }

  #record(entry: BaselineEntry, record: SettingRecord): void {
    this.records.set(entry, record);
    this.ask.mark(entry, record.state !== "different");
  }
}
