import { DeviceError } from "../../../drivers/kit/errors.ts";
import { startStopwatch } from "../../../drivers/kit/stopwatch.ts";
import type { Device, SettingValue } from "../../../drivers/roles/device.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import { devicesOf } from "../../../drivers/roles/rig.ts";
import { roleNames, roles } from "../../../drivers/roles/roles.ts";
import { makeSafe, type Safety } from "../../safing/make-safe.ts";
import { uncover } from "../../safing/uncover.ts";
import { UnsafeError } from "../../safing/unsafe-error.ts";
import { whileCovered } from "../../safing/while-covered.ts";
import type { BaselineEntry, SettingRecord } from "../record/run-record.ts";
import { FailingTime } from "./failing-time.ts";
import { isOpenCover, isOpenShutter, movesTelescope } from "./kept-safe.ts";
import type { RestoreRequest } from "./restore-request.ts";
import { isRestored, readSetting, restoreSettingOf, settingRecord } from "./restore-setting.ts";
import { whyStay } from "./why-stay.ts";

export interface RestoredRig {
  readonly settings: readonly SettingRecord[];
  /** How the rig stands at the end. */
  readonly safety: Safety | undefined;
}

/**
 * Puts the rig back as the baseline says, in a safe order: made safe, shutter closed if the weather is against it, then
 * what stands in the light, the mount and the dome behind the closed cover, the cover itself, and the connections last.
 * Safety goes before how it was found (decisions 0012 and 0080): what is not proved to be covered is not moved near the
 * Sun. Every value is read back. Never throws for a device's sake; doing it again, or going on after a crash half way,
 * is harmless.
 */
export async function restoreBaseline(request: RestoreRequest): Promise<RestoredRig> {
  const inOrder = roleOrder.flatMap((role) => request.baseline.filter((entry) => entry.role === role));
  const connections = inOrder.filter(({ setting }) => setting.key === connectionKey);
  const settings = inOrder.filter((entry) => !connections.includes(entry));
  const cover = settings.filter(({ role }) => role === "cover");
  const behindCover = settings.filter(({ role }) => role !== "cover");
  const round = new RestoreRound(request, behindCover);
  // A run that was killed while it connected has touched nothing else.
  if (settings.length > 0) await round.makeSafe();
  await round.lookAtWeather();
  for (const entry of behindCover) if (!round.records.has(entry)) await round.putBack(entry);
  await round.lookAgain();
  await round.lookAtWeather();
  for (const entry of cover) await round.putBack(entry);
  // The cover takes its time, and one that sticks makes the mount turn away.
  if ((await round.changedSince()).length > 0) {
    await round.makeSafe();
    await round.lookAgain();
    for (const entry of cover) await round.putBack(entry);
    await round.recordChanged();
  }
  for (const entry of connections) await round.putBack(entry);
  return {
    settings: request.baseline.map((entry) => round.records.get(entry)!),
    safety: round.safety,
  };
}

/** In which roles' settings go back; within a device as it gave them. */
const roleOrder = roleNames.toSorted((a, b) => roles[a].restoreOrder - roles[b].restoreOrder);

/** How often it is tried to cover the telescope before the rest is left where it is; each may take minutes. */
const safingsMax = 2;

/** What is put back otherwise than it was found, and why. */
interface Exception {
  readonly leave: "closed" | "as it is";
  readonly why: string;
}

/** What parking a mount changes of it. */
const parkingKeys: ReadonlySet<string> = new Set(["pointing", "tracking", "parked"]);

/** One go through the settings, remembering what came of each and which devices are gone. */
class RestoreRound {
  readonly records = new Map<BaselineEntry, SettingRecord>();
  safety: Safety | undefined;
  readonly #devices: ReadonlyMap<string, Device>;
  readonly #silent = new Set<Device>();
  readonly #failing = new FailingTime();
  #safings = 0;
  /** Why nothing may be left open to the sky; once so, for good. */
  #weather: string | undefined;
  #parkedUnderRoof = false;

  constructor(
    readonly request: RestoreRequest,
    readonly behindCover: readonly BaselineEntry[],
  ) {
    this.#devices = new Map(
      devicesOf(request.rig).map((device) => [`${device.role}/${device.name}`, device]),
    );
  }

  async makeSafe(): Promise<void> {
    const { signal, warn, retreatedBecause } = this.request;
    const goal = retreatedBecause.length > 0 ? "covered and off the Sun" : "covered";
    this.#safings++;
    this.safety = await makeSafe(this.request, { goal, signal, ...(warn && { warn }) });
  }

  /** Closes a shutter that was found open when the weather is against it. A roof closes over a parked telescope only. */
  async lookAtWeather(): Promise<void> {
    const { rig, baseline, signal } = this.request;
    if (this.#weather !== undefined || !baseline.some((one) => isOpenShutter(one) || isOpenCover(one)))
      return;
    this.#weather = await this.request.weatherAgainst(signal);
    const shutters = this.behindCover.filter(isOpenShutter);
    if (this.#weather === undefined || shutters.length === 0) return;
    const { dome, mount } = rig;
    if (dome && !dome.abilities.azimuth && mount?.abilities.park) {
      try {
        await mount.ensureParked(signal);
        this.#parkedUnderRoof = true;
      } catch (error) {
        this.request.log.warn({ device: mount.name, error: String(error) }, "could not park under the roof");
      }
    }
    for (const shutter of shutters) await this.putBack(shutter);
  }

  /** As it was found, or otherwise where that would not be safe. */
  async putBack(entry: BaselineEntry): Promise<void> {
    const givenUp = this.#failing.whyGivenUp(entry);
    const seconds = startStopwatch(this.request.clock);
    const record =
      givenUp === undefined
        ? await this.#restored(entry)
        : settingRecord(entry, undefined, "different", givenUp);
    this.records.set(entry, record);
    if (record.state === "different") this.#failing.add(entry, seconds());
  }

  /** Putting one setting back may have changed another: all are read again, and what moved is put back once more. */
  async lookAgain(): Promise<void> {
    for (const entry of this.behindCover) {
      const device = this.#deviceOf(entry);
      if (!device) continue;
      const before = this.records.get(entry)?.state;
      if (before === "keptSafe" || (before === "different" && this.#failing.whyGivenUp(entry))) continue;
      if (before === "same") {
        try {
          if (isRestored(device, entry.setting, await readSetting(device, entry.setting.key, this.request)))
            continue;
        } catch (error) {
          if (!(error instanceof DeviceError)) throw error;
        }
      }
      await this.putBack(entry);
    }
  }

  /** What was put back and does not stand so any more, with what it reads now; each device is read once. */
  async changedSince(): Promise<readonly { entry: BaselineEntry; now: SettingValue | undefined }[]> {
    const entries = [...this.records].filter(([, { state }]) => state === "same").map(([entry]) => entry);
    const devices = new Map(entries.map((entry) => [this.#deviceOf(entry), entry.role]));
    const readings = await Promise.all(
      [...devices.keys()].map(
        async (device) =>
          [
            device,
            // One that does not answer any more shows nothing new.
            await device?.readSettings(this.request.signal).catch(() => undefined),
          ] as const,
      ),
    );
    const read = new Map(readings);
    return entries.flatMap((entry) => {
      const device = this.#deviceOf(entry);
      const settings = read.get(device);
      if (!device || !settings) return [];
      const now = settings.find(({ key }) => key === entry.setting.key)?.value;
      return isRestored(device, entry.setting, now) ? [] : [{ entry, now }];
    });
  }

  /** Without another try: what changes again and again is not put back by trying. */
  async recordChanged(): Promise<void> {
    for (const { entry, now } of await this.changedSince())
      this.records.set(entry, settingRecord(entry, now, "different", "it changed after it was put back"));
  }

  async #restored(entry: BaselineEntry): Promise<SettingRecord> {
    const device = this.#deviceOf(entry);
    if (!device) return settingRecord(entry, undefined, "different", "the rig has no such device now");
    const exception = await this.#exceptionFor(entry, device);
    if (exception?.leave === "closed") return this.#leaveClosed(device, entry, exception.why);
    if (exception) return this.#leaveAsItIs(device, entry, exception.why);
    if (isOpenCover(entry)) return this.#uncover(device, entry);
    return this.#restore(device, entry);
  }

  async #exceptionFor(entry: BaselineEntry, device: Device): Promise<Exception | undefined> {
    const { role, setting } = entry;
    const { key, value } = setting;
    const closed = (why: string): Exception => ({ leave: "closed", why: `left closed${why}` });
    if (isOpenShutter(entry) || isOpenCover(entry)) {
      if (this.#weather !== undefined) return closed(` because of the weather (${this.#weather})`);
    }
    if (isOpenShutter(entry)) {
      // A run only ever opens a shutter: one that is closed now was closed by someone who had a reason.
      const now = await readSetting(device, key, this.request).catch(() => undefined);
      if (!isRestored(device, setting, now))
        return closed(": it did not stay open, and this run did not close it");
    }
    if (isOpenCover(entry) && !this.behindCover.every((one) => this.records.get(one)?.state === "same"))
      return closed(": the rest is not as it was");
    if (this.#parkedUnderRoof && role === "mount" && parkingKeys.has(key))
      return { leave: "as it is", why: "left parked under the roof because of the weather" };
    // With the end of its parking many a dome opens its shutter.
    const unparks = role === "dome" && (key === "azimuth" || (key === "parked" && value === false));
    if (unparks && (await this.#isDomeParked()))
      return { leave: "as it is", why: "left parked: this run did not park it" };
    if (movesTelescope(entry)) {
      const now = await readSetting(device, key, this.request).catch(() => undefined);
      if (isRestored(device, setting, now)) return undefined;
      const isOpen = this.safety?.covered.proved === false && this.request.rig.cover;
      if (isOpen && this.#safings < safingsMax) await this.makeSafe();
      const why = await whyStay(this.request, this.safety, entry);
      if (why !== undefined) return { leave: "as it is", why };
    }
    return undefined;
  }

  /** Closed, whatever it was; that it could not be closed is a failure to restore. */
  async #leaveClosed(device: Device, entry: BaselineEntry, why: string): Promise<SettingRecord> {
    const closed = { ...entry, setting: { ...entry.setting, value: "closed" } };
    const { state, after, why: failed } = await this.#restore(device, closed);
    return state === "same"
      ? settingRecord(entry, after, "keptSafe", why)
      : settingRecord(entry, after, "different", `should be ${why}, and could not be closed: ${failed}`);
  }

  /** Found open; through the one door that there is. */
  async #uncover(device: Device, entry: BaselineEntry): Promise<SettingRecord> {
    const { signal } = this.request;
    try {
      await uncover(this.request, signal);
    } catch (error) {
      if (error instanceof UnsafeError)
        return this.#leaveClosed(device, entry, `left closed: ${error.message}`);
      if (!(error instanceof DeviceError)) throw error;
      this.request.log.warn({ device: device.name, why: error.message }, "could not put back");
    }
    const now = await readSetting(device, entry.setting.key, this.request).catch(() => undefined);
    if (isRestored(device, entry.setting, now)) return settingRecord(entry, now, "same");
    return this.#leaveClosed(device, entry, "left closed: it did not open");
  }

  async #leaveAsItIs(device: Device, entry: BaselineEntry, why: string): Promise<SettingRecord> {
    const now = await readSetting(device, entry.setting.key, this.request).catch(() => undefined);
    const same = isRestored(device, entry.setting, now);
    return settingRecord(entry, now, same ? "same" : "keptSafe", same ? undefined : why);
  }

  async #restore(device: Device, entry: BaselineEntry): Promise<SettingRecord> {
    // A device that was silent through all tries gets one more per setting, not three.
    const tries = this.#silent.has(device) || this.#failing.isOver(entry) ? 1 : undefined;
    const move = (signal: AbortSignal) => restoreSettingOf(device, entry, { ...this.request, signal }, tries);
    let record: SettingRecord;
    try {
      record = movesTelescope(entry)
        ? await whileCovered(this.request, move, this.request.signal)
        : await move(this.request.signal);
    } catch (error) {
      if (error instanceof UnsafeError) {
        await this.makeSafe();
        return this.#leaveAsItIs(device, entry, `left where it was: ${error.message}`);
      }
      if (!(error instanceof DeviceError)) throw error;
      // Whether the cover is closed can't be asked.
      record = settingRecord(entry, undefined, "different", `not moved: ${error.message}`);
    }
    if (record.state === "different" && !(await device.isAlive(this.request.signal)))
      this.#silent.add(device);
    else this.#silent.delete(device);
    return record;
  }

  async #isDomeParked(): Promise<boolean> {
    const state = await this.request.rig.dome?.state(this.request.signal).catch(() => undefined);
    return state?.parked === true;
  }

  #deviceOf(entry: BaselineEntry): Device | undefined {
    return this.#devices.get(`${entry.role}/${entry.device}`);
  }
}
