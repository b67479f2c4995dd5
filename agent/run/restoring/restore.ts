import { DeviceError } from "../../../drivers/kit/errors.ts";
import type { Device } from "../../../drivers/roles/device.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";
import type { BaselineEntry, SettingRecord } from "../record/run-record.ts";
import { ensureQuiet, tryTo } from "./make-safe.ts";
import {
  opensCover,
  opensShutter,
  parkingKeys,
  type RestorePhases,
  restorePhases,
  unparks,
} from "./restore-order.ts";
import { isSame, type RestoreTools, readNow, restoreEntry, settingRecord } from "./restore-setting.ts";

export interface RestoreAsk extends RestoreTools {
  readonly rig: Rig;
  readonly baseline: readonly BaselineEntry[];
  /** Remembers in the ledger what is back; called once per setting and again if it changes its mind. */
  mark(entry: BaselineEntry, restored: boolean): void;
  /** Whether the cover may be opened if that is how it was found; the reason when not. Asked when all else is back. */
  mayOpenCover(signal: AbortSignal): Promise<true | string>;
  /** Why nothing may be left open to the sky, if that is so now. */
  weatherAgainst(signal: AbortSignal): Promise<string | undefined>;
}

/**
 * Puts the rig back as the baseline says, in a safe order: everything still, cover closed, shutter closed if the
 * weather is against it, then what stands in the light, the mount and the dome behind the closed cover, the cover
 * itself, and the connections last. Safety goes before how it was found (decision 0012). Every value is read back.
 * Never throws for a device's sake; doing it again, or going on after a crash half way, is harmless.
 */
export async function restoreBaseline(ask: RestoreAsk): Promise<readonly SettingRecord[]> {
  const phases = restorePhases(ask.baseline);
  const touched = [...phases.behindCover, ...phases.cover];
  if (touched.length > 0) await makeSafe(ask); // a run that was killed while it connected has touched nothing else
  const devices = new Map<string, Device>(
    devicesOf(ask.rig).map((device) => [`${device.role}/${device.name}`, device]),
  );
  const round = new Round(ask, devices);
  const openToSky = touched.filter((entry) => opensShutter(entry) || opensCover(entry));
  const lookAtWeather = async () => {
    if (round.weather !== undefined || openToSky.length === 0) return;
    round.weather = await ask.weatherAgainst(ask.signal);
    if (round.weather !== undefined) await round.shutOut(openToSky.filter(opensShutter));
  };
  await lookAtWeather();
  for (const entry of phases.behindCover) if (!round.records.has(entry)) await round.putBack(entry);
  await round.secondLook(phases.behindCover);
  await lookAtWeather();
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
    const why = opensCover(entry) ? await whyKeepCovered(ask, phases, round) : undefined;
    if (why === undefined) await round.putBack(entry);
    else await round.leaveClosed(entry, why);
  }
}

async function whyKeepCovered(
  ask: RestoreAsk,
  phases: RestorePhases,
  round: Round,
): Promise<string | undefined> {
  if (round.weather !== undefined) return weatherText(round.weather);
  if (!round.allBack(phases.behindCover)) return "left closed: the rest is not as it was";
  const may = await ask.mayOpenCover(ask.signal);
  return may === true ? undefined : `left closed: ${may}`;
}

function weatherText(weather: string): string {
  return `left closed because of the weather (${weather})`;
}

/** One go through the settings, remembering what came of each and which devices are gone. */
class Round {
  readonly records = new Map<BaselineEntry, SettingRecord>();
  readonly #silent = new Set<Device>();
  /** Why nothing may be left open to the sky; once so, for good. */
  weather: string | undefined;
  #parkedUnderRoof = false;

  constructor(
    readonly ask: RestoreAsk,
    readonly devices: ReadonlyMap<string, Device>,
  ) {}

  /** Closes what was found open. A roof closes over a parked telescope only; a slit does not care where it points. */
  async shutOut(shutters: readonly BaselineEntry[]): Promise<void> {
    const { dome, mount } = this.ask.rig;
    if (shutters.length === 0) return;
    if (dome && !dome.abilities.azimuth && mount?.abilities.park) {
      const failed = await tryTo("park under the roof", this.ask, (signal) => mount.ensureParked(signal));
      this.#parkedUnderRoof = failed === undefined;
    }
    for (const entry of shutters) await this.leaveClosed(entry, weatherText(this.weather!));
  }

  /** As it was found, or otherwise where that would not be safe. */
  async putBack(entry: BaselineEntry): Promise<void> {
    const device = this.#deviceOf(entry);
    if (!device)
      return this.#record(
        entry,
        settingRecord(entry, undefined, "different", "the rig has no such device now"),
      );
    const { role, setting } = entry;
    if (this.#parkedUnderRoof && role === "mount" && parkingKeys.has(setting.key))
      return this.#leave(device, entry, "left parked under the roof because of the weather");
    if (opensShutter(entry)) return this.#keepShutter(device, entry);
    if (unparks(entry) && (await this.#isParked()))
      return this.#leave(device, entry, "left parked: this run did not park it");
    this.#record(entry, await this.#restore(device, entry));
  }

  /** A run only ever opens a shutter: one that is closed now was closed by someone who had a reason. */
  async #keepShutter(device: Device, entry: BaselineEntry): Promise<void> {
    if (this.weather !== undefined) return this.leaveClosed(entry, weatherText(this.weather));
    const now = await readNow(device, entry.setting.key, this.ask).catch(() => undefined);
    if (isSame(device, entry.setting, now)) this.#record(entry, settingRecord(entry, now, "same"));
    else await this.leaveClosed(entry, "left closed: it did not stay open, and this run did not close it");
  }

  /** Closed, whatever it was; that it could not be closed is a failure to restore. */
  async leaveClosed(entry: BaselineEntry, why: string): Promise<void> {
    const device = this.#deviceOf(entry);
    if (!device) return this.putBack(entry);
    const closed = { ...entry, setting: { ...entry.setting, value: "closed" } };
    const { state, after, why: failed } = await this.#restore(device, closed);
    this.#record(
      entry,
      state === "same"
        ? settingRecord(entry, after, "keptSafe", why)
        : settingRecord(entry, after, "different", `should be ${why}, and could not be closed: ${failed}`),
    );
  }

  async #leave(device: Device, entry: BaselineEntry, why: string): Promise<void> {
    const now = await readNow(device, entry.setting.key, this.ask).catch(() => undefined);
    const same = isSame(device, entry.setting, now);
    this.#record(entry, settingRecord(entry, now, same ? "same" : "keptSafe", same ? undefined : why));
  }

  async #isParked(): Promise<boolean> {
    const state = await this.ask.rig.dome?.state(this.ask.signal).catch(() => undefined);
    return state?.parked === true;
  }

  async #restore(device: Device, entry: BaselineEntry): Promise<SettingRecord> {
    // A device that was silent through all tries gets one more per setting, not three.
    const record = await restoreEntry(device, entry, this.ask, this.#silent.has(device) ? 1 : undefined);
    if (record.state === "different" && !(await device.isAlive(this.ask.signal))) this.#silent.add(device);
    else this.#silent.delete(device);
    return record;
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
