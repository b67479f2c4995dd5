import type { Clock } from "../../kit/clock.ts";
import { DeviceLostError } from "../../kit/errors.ts";
import type { Log } from "../../kit/log.ts";
import { stoppedIfFailed } from "../../kit/stopped-if-failed.ts";
import type { Device, RoleName, Setting } from "../../roles/device.ts";
import {
  asDisconnected,
  connectionKey,
  type KeptSetting,
  keptNamed,
  readKept,
  sameKept,
} from "../../roles/kept-settings.ts";
import { isSilence, NotConnectedError } from "../wire/errors.ts";
import { unlessAborted } from "../wire/unless-aborted.ts";
import { withBudget } from "./budget.ts";
import type { AlpacaDevice } from "./device.ts";
import { connectDevice, disconnectDevice, isConnected } from "./device-connection.ts";
import { type WaitOptions, waitUntil } from "./wait-until.ts";

/** What every Alpaca role is made from. */
export interface RoleContext {
  readonly device: AlpacaDevice;
  readonly clock: Clock;
  readonly log: Log;
  /** Whether this role answers for the device's connection: of two roles of one device only the first does. */
  readonly ownsConnection: boolean;
  /** Told before anything is changed whether the device was found connected, so that it can be written down first. */
  readonly found?: (connected: boolean) => void;
}

const aliveSeconds = 5;
const closeSeconds = 10;
/** How long a server may take to come back before an operation gives up [s]. */
const comeBackSeconds = 30;

/**
 * The part that all Alpaca roles share: connecting, connecting anew after a restart of the server or a power cycle
 * of the device, and settings.
 */
export abstract class AlpacaRole implements Device {
  abstract readonly role: RoleName;
  readonly name: string;
  protected readonly device: AlpacaDevice;
  protected readonly clock: Clock;
  protected readonly log: Log;
  readonly #ownsConnection: boolean;
  readonly #found: ((connected: boolean) => void) | undefined;
  #foundConnected: boolean | undefined;
  #lostCount = 0;
  #connectingAnew: Promise<void> | undefined;
  #leftAs: readonly Setting[] | undefined;

  constructor(context: RoleContext) {
    this.device = context.device;
    this.clock = context.clock;
    this.log = context.log;
    this.name = context.device.name;
    this.#ownsConnection = context.ownsConnection;
    this.#found = context.found;
  }

  /** What a run of ours may change, in an order in which it can be put back. */
  protected abstract keptSettings(): readonly KeptSetting[];
  /** Reads what the device can do, after each connecting. Changes nothing. */
  protected abstract readFacts(signal: AbortSignal): Promise<void>;
  /** Puts back what we had set before the device lost it. */
  protected async setUpAgain(_signal: AbortSignal): Promise<void> {}
  /** One small read that only a connected device answers. */
  protected abstract ping(signal: AbortSignal): Promise<unknown>;
  abstract describe(): Readonly<Record<string, string>>;

  /** Connects the device, remembering whether it was, and reads what it can do. */
  async open(signal: AbortSignal): Promise<this> {
    this.#foundConnected = await isConnected(this.device, signal);
    if (this.#ownsConnection) this.#found?.(this.#foundConnected);
    await this.#connect(signal);
    return this;
  }

  async #connect(signal: AbortSignal): Promise<void> {
    this.#lostCount = this.device.lostCount;
    await this.connectAll(signal);
    await this.readFacts(signal);
    this.#leftAs = undefined;
  }

  /** A role that hangs on a second device connects that too. */
  protected async connectAll(signal: AbortSignal): Promise<void> {
    await connectDevice(this.device, this.clock, signal);
  }

  protected async disconnectAll(signal: AbortSignal): Promise<void> {
    await disconnectDevice(this.device, this.clock, signal);
  }

  /** At the start of every operation: what was lost since the last one is connected again. */
  protected async ready(signal: AbortSignal): Promise<void> {
    signal.throwIfAborted();
    if (this.#isLost) await this.#connectAnew(signal);
  }

  get #isLost(): boolean {
    return this.device.lostCount !== this.#lostCount || this.#leftAs !== undefined;
  }

  /** @param force disconnects first: a server may call a device connected that was switched off and on again */
  async #connectAnew(signal: AbortSignal, force = false): Promise<void> {
    // Another operation may be at it; how that ends for it is its own affair.
    while (this.#connectingAnew) {
      await unlessAborted(this.#connectingAnew, signal);
      if (!this.#isLost) return;
    }
    this.log.warn({ device: this.name, force }, "connecting again and setting up anew");
    this.#connectingAnew = this.#bringBack(force, signal);
    try {
      await this.#connectingAnew;
    } finally {
      this.#connectingAnew = undefined;
    }
  }

  async #bringBack(force: boolean, signal: AbortSignal): Promise<void> {
    try {
      if (force && this.mayDisconnect) await this.disconnectAll(signal);
      await this.#untilConnected(signal);
    } catch (error) {
      if (force || !(error instanceof NotConnectedError) || !this.mayDisconnect) throw error;
      return this.#bringBack(true, signal);
    }
    await this.setUpAgain(signal);
  }

  async #untilConnected(signal: AbortSignal): Promise<void> {
    await this.until(
      "the device's return",
      { withinSeconds: 4 * comeBackSeconds, silenceSecondsMax: comeBackSeconds },
      async (abort) => {
        await this.#connect(abort);
        return true;
      },
      signal,
    );
  }

  /** Devices that others watch as well are never disconnected to mend an error. */
  protected get mayDisconnect(): boolean {
    return true;
  }

  /**
   * Work that may be done twice without harm (reading, or bringing into a state): if the device is lost in its
   * middle, it is connected again and the work done once more.
   */
  protected async recovering<T>(work: () => Promise<T>, signal: AbortSignal): Promise<T> {
    await this.ready(signal);
    for (let attempt = 1; ; attempt++) {
      try {
        return await work();
      } catch (error) {
        signal.throwIfAborted();
        const isLost = error instanceof DeviceLostError;
        if (!isLost || attempt === 3 || (attempt === 2 && !(error instanceof NotConnectedError))) throw error;
        await this.#connectAnew(signal, attempt === 2);
      }
    }
  }

  /** Carries a motion out; the device is stopped if it is aborted or how it ended is not known. */
  protected stoppedIfFailed<T>(
    work: () => Promise<T>,
    stop: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<T> {
    const stoppable = { device: this.name, log: this.log, leavesMoving: isSilence };
    return stoppedIfFailed(stoppable, work, stop, signal);
  }

  /** `waitUntil` for this device. */
  protected until<T>(
    what: string,
    options: Omit<WaitOptions, "clock" | "device" | "what">,
    look: (signal: AbortSignal) => Promise<T | undefined>,
    signal: AbortSignal,
  ): Promise<T> {
    return waitUntil({ clock: this.clock, device: this.name, what, ...options }, look, signal);
  }

  async readSettings(signal: AbortSignal): Promise<readonly Setting[]> {
    signal.throwIfAborted();
    if (this.#leftAs) return this.#leftAs;
    return this.recovering(async () => {
      const settings = await readKept(this.keptSettings(), signal);
      if (this.#ownsConnection) settings.push({ key: connectionKey, value: this.#foundConnected === true });
      return settings;
    }, signal);
  }

  async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    if (setting.key === connectionKey) return this.#restoreConnection(setting.value === true, signal);
    const kept = keptNamed(this.keptSettings(), setting.key, this.name);
    await this.recovering(() => kept.restore(setting.value, signal), signal);
  }

  /** What was read just before is from then on what `readSettings` gives. */
  async #restoreConnection(connected: boolean, signal: AbortSignal): Promise<void> {
    if (connected) return this.ready(signal);
    if (this.#leftAs || !(await isConnected(this.device, signal))) return;
    const last = await this.readSettings(signal);
    await this.disconnectAll(signal);
    this.#leftAs = asDisconnected(last);
  }

  sameSetting(before: Setting, now: Setting): boolean {
    return sameKept(this.keptSettings(), before, now);
  }

  async isAlive(signal: AbortSignal): Promise<boolean> {
    if (signal.aborted || this.#leftAs) return false;
    try {
      await withBudget(this.clock, aliveSeconds, (budget) => this.ping(AbortSignal.any([signal, budget])));
      return true;
    } catch {
      return false;
    }
  }

  /** A device that was found disconnected and has not been put back yet is disconnected here. */
  async [Symbol.asyncDispose](): Promise<void> {
    if (this.#foundConnected !== false || this.#leftAs) return;
    try {
      await withBudget(this.clock, closeSeconds, async (budget) => {
        if (await isConnected(this.device, budget)) await this.disconnectAll(budget);
      });
    } catch (error) {
      this.log.warn(
        { device: this.name, error: String(error) },
        "was found disconnected and could not be left so",
      );
    }
  }
}
