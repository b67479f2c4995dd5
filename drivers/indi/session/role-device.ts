import type { Clock } from "../../kit/clock.ts";
import { DeadlineError } from "../../kit/errors.ts";
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
import { switchIn } from "../wire/property.ts";
import type { IndiDevice } from "./device.ts";

/** What every INDI role is made from. */
export interface RoleContext {
  readonly device: IndiDevice;
  readonly clock: Clock;
  readonly log: Log;
  /**
   * Whether this role answers for the device's CONNECTION: of two roles of one device (a camera with a wheel inside)
   * only the first does, and connections are put back when all else is.
   */
  readonly ownsConnection: boolean;
  /** Told before anything is changed whether the device was found connected, so that it can be written down first. */
  readonly found?: (connected: boolean) => void;
}

const settleSecondsAtClose = 10;

/**
 * The part that all INDI roles share: connecting, reconnecting after a restart of driver or server, and settings.
 * A role names the properties that it cannot do without; everything else is used if it is there.
 */
export abstract class IndiRole implements Device {
  abstract readonly role: RoleName;
  /** Proof that the driver lives: the property that is read anew. */
  protected abstract readonly mainProperty: string;
  protected abstract readonly requiredProperties: readonly string[];
  readonly name: string;
  protected readonly device: IndiDevice;
  protected readonly clock: Clock;
  protected readonly log: Log;
  readonly #ownsConnection: boolean;
  readonly #found: ((connected: boolean) => void) | undefined;
  #foundConnected: boolean | undefined;
  #wasRead = false;
  #lostCount = 0;
  #leftAs: readonly Setting[] | undefined;

  constructor(context: RoleContext) {
    this.device = context.device;
    this.clock = context.clock;
    this.log = context.log;
    this.name = context.device.name;
    this.#ownsConnection = context.ownsConnection;
    this.#found = context.found;
    context.device.onForeignCommand(({ name, values }) =>
      this.log.warn({ device: this.name, property: name, values }, "another client commands this device"),
    );
  }

  /** What a run of ours may change, in an order in which it can be put back. */
  protected abstract keptSettings(): readonly KeptSetting[];
  /** Puts the device into the working state that the role needs; again after every restart of the driver. */
  protected async setUp(_signal: AbortSignal, _again: boolean): Promise<void> {}
  abstract describe(): Readonly<Record<string, string>>;

  /** Connects the device, remembering whether it was, and waits for what the role needs. */
  async open(signal: AbortSignal): Promise<this> {
    const [connection] = await this.device.require(["CONNECTION"], { withinSeconds: 10 }, signal);
    this.#foundConnected = switchIn(connection, "CONNECT") === true;
    if (this.#ownsConnection) this.#found?.(this.#foundConnected);
    await this.#connect(signal);
    await this.setUp(signal, false);
    return this;
  }

  /** Called at the start of every operation: a driver or server that restarted in between is connected again. */
  protected async ready(signal: AbortSignal): Promise<void> {
    signal.throwIfAborted();
    const connected = switchIn(this.device.property("CONNECTION"), "CONNECT") === true;
    if (connected && this.device.lostCount === this.#lostCount) return;
    this.log.warn(
      { device: this.name, lostCount: this.device.lostCount },
      "connecting again and setting up anew",
    );
    await this.#connect(signal);
    await this.setUp(signal, true);
  }

  async #connect(signal: AbortSignal): Promise<void> {
    const lostCount = this.device.lostCount;
    await this.device.require(["CONNECTION"], { withinSeconds: 30 }, signal);
    await this.device.connectDevice(signal);
    // Some drivers define their properties seconds after CONNECT; `require` asks again by name and then lists what is missing.
    await this.device.require(this.requiredProperties, { withinSeconds: 15 }, signal);
    this.#lostCount = lostCount;
    this.#leftAs = undefined;
  }

  /** Carries a motion out; the device is stopped if it is aborted or how it ended is not known. */
  protected stoppedIfFailed<T>(
    work: () => Promise<T>,
    stop: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<T> {
    const stoppable = {
      device: this.name,
      log: this.log,
      leavesMoving: (error: unknown) => error instanceof DeadlineError,
    };
    return stoppedIfFailed(stoppable, work, stop, signal);
  }

  protected has(property: string): boolean {
    return this.device.property(property) !== undefined;
  }

  async readSettings(signal: AbortSignal): Promise<readonly Setting[]> {
    if (this.#leftAs) return this.#leftAs;
    await this.ready(signal);
    const settings = await readKept(this.keptSettings(), signal);
    if (this.#ownsConnection) {
      // The first reading is the baseline: it tells how the device was found, later ones how it is.
      settings.push({ key: connectionKey, value: this.#wasRead || this.#foundConnected === true });
      this.#wasRead = true;
    }
    return settings;
  }

  async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    if (setting.key === connectionKey) return this.#restoreConnection(setting.value === true, signal);
    await this.ready(signal);
    const kept = keptNamed(this.keptSettings(), setting.key, this.name);
    await kept.restore(setting.value, signal);
  }

  /** What was read just before is from then on what `readSettings` gives. */
  async #restoreConnection(connected: boolean, signal: AbortSignal): Promise<void> {
    if (connected) return this.ready(signal);
    if (switchIn(this.device.property("CONNECTION"), "CONNECT") !== true) return;
    const last = await this.readSettings(signal);
    await this.device.disconnectDevice(signal);
    this.#leftAs = asDisconnected(last);
  }

  sameSetting(before: Setting, now: Setting): boolean {
    return sameKept(this.keptSettings(), before, now);
  }

  async isAlive(signal: AbortSignal): Promise<boolean> {
    try {
      if (switchIn(this.device.property("CONNECTION"), "CONNECT") !== true) return false;
      await this.device.refresh(this.mainProperty, { withinSeconds: 5 }, signal);
      return true;
    } catch {
      return false;
    }
  }

  /** A device that was found disconnected and has not been put back yet is disconnected here. */
  async [Symbol.asyncDispose](): Promise<void> {
    if (this.#foundConnected !== false || this.#leftAs) return;
    if (switchIn(this.device.property("CONNECTION"), "CONNECT") !== true) return;
    try {
      const budget = new AbortController();
      const timer = this.clock.setTimer(settleSecondsAtClose, () =>
        budget.abort(new Error("closing took too long")),
      );
      await this.device.disconnectDevice(budget.signal).finally(() => timer.cancel());
    } catch (error) {
      this.log.warn(
        { device: this.name, error: String(error) },
        "was found disconnected and could not be left so",
      );
    }
  }
}
