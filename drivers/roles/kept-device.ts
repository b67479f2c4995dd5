import type { Clock } from "../kit/clock.ts";
import { withDeadline } from "../kit/deadline.ts";
import { DeviceLostError, OverruledError, ReadbackError, UnreachableError } from "../kit/errors.ts";
import type { Log } from "../kit/log.ts";
import { neverAborted } from "../kit/never-aborted.ts";
import { resolveAll } from "../kit/resolve-all.ts";
import { deadlineOver } from "../kit/round-trip.ts";
import { stopOnFailure } from "../kit/stopped-if-failed.ts";
import { unlessAborted } from "../kit/unless-aborted.ts";
import type { Device, Setting } from "./device.ts";
import { ForeignCommandLog } from "./foreign-commands.ts";
import {
  connectionKey,
  isSameSetting,
  type KeptSetting,
  readKeptSettings,
  requireSetting,
  withDisconnected,
} from "./kept-settings.ts";
import type { RoleName } from "./roles.ts";

/** What every role is made from, whatever its protocol. */
export interface DeviceTools {
  readonly clock: Clock;
  readonly log: Log;
  /**
   * Whether this role answers for the device's connection: of two roles of one device (a camera with a wheel inside)
   * only the first does, and connections are put back when all else is.
   */
  readonly ownsConnection: boolean;
  /** Told before anything is changed whether the device was found connected, so that it can be written down first. */
  readonly found?: (connected: boolean) => void;
}

const aliveSeconds = 5;
const closeSeconds = 10;
/** After an attempt to connect again that failed, others are told so at once for so long [s]. */
const retrySeconds = 10;
/** So long after its end a motion of ours may still show [s]. */
const ownMotionLingersSeconds = 10;

/**
 * A device that is left as it was found: connecting, connecting again after a loss, its settings and its connection.
 * A protocol says how to connect and disconnect, whether the device is connected, and whether it was lost.
 */
export abstract class KeptDevice implements Device {
  abstract readonly role: RoleName;
  protected readonly clock: Clock;
  protected readonly log: Log;
  readonly foreignCommands: ForeignCommandLog;
  readonly #ownsConnection: boolean;
  readonly #found: ((connected: boolean) => void) | undefined;
  #foundConnected: boolean | undefined;
  #isLeftConnected = false;
  #isReady = false;
  #wasRead = false;
  #bringingBack: Promise<void> | undefined;
  #gaveUp: { readonly error: unknown; readonly atSeconds: number } | undefined;
  #ownMotions = 0;
  #ownMotionEndedSeconds = Number.NEGATIVE_INFINITY;
  #overruling = new AbortController();
  /** The settings as they were read just before it was disconnected for good. */
  #leftAs: readonly Setting[] | undefined;

  constructor(
    readonly name: string,
    { clock, log, ownsConnection, found }: DeviceTools,
  ) {
    this.clock = clock;
    this.log = log;
    this.foreignCommands = new ForeignCommandLog(name, { clock, log });
    this.#ownsConnection = ownsConnection;
    this.#found = found;
  }

  /** What a run of ours may change, in an order in which it can be put back. */
  protected abstract keptSettings(): readonly KeptSetting[];
  abstract describe(): Readonly<Record<string, string>>;
  abstract readonly roundTripSeconds: number;
  /** One small read that only a connected device answers. */
  protected abstract ping(signal: AbortSignal): Promise<unknown>;

  protected abstract isConnected(signal: AbortSignal): Promise<boolean>;
  /** Connects what is not connected yet and waits for what the role needs of it. @param seen as `isConnected` was a moment ago */
  protected abstract connect(signal: AbortSignal, seen?: boolean): Promise<void>;
  /** Does nothing when it is disconnected already. @param seen as for `connect` */
  protected abstract disconnect(signal: AbortSignal, seen?: boolean): Promise<void>;
  /** Whether what it says of its connection is of now. */
  protected get isReached(): boolean {
    return true;
  }
  /** Whether it was lost since `connect` began last. */
  protected abstract readonly wasLost: boolean;
  /** When it showed signs of life last [s of the clock]: after that it is worth another attempt. */
  protected get seenSinceSeconds(): number {
    return Number.NEGATIVE_INFINITY;
  }
  /** Whether, after such an error, nobody knows if a motion goes on. */
  protected abstract leavesMoving(error: unknown): boolean;

  /** Puts the device into the working state that the role needs; again after every loss. By means of its own, never `ready`. */
  protected async setUp(_signal: AbortSignal, _again: boolean): Promise<void> {}
  /** Connects after a loss, by `connectOnce`. */
  protected bringBack(connectOnce: (signal: AbortSignal) => Promise<void>, signal: AbortSignal) {
    return connectOnce(signal);
  }
  /** Reading, or bringing into a state. */
  protected async recovering<T>(work: () => Promise<T>, signal: AbortSignal): Promise<T> {
    await this.ready(signal);
    return await work();
  }

  /** Connects the device, remembering whether it was. */
  async open(signal: AbortSignal): Promise<this> {
    this.#foundConnected = await this.isConnected(signal);
    if (this.#ownsConnection) this.#found?.(this.#foundConnected);
    await this.#connectOnce(signal, this.#foundConnected);
    await this.setUp(signal, false);
    return this;
  }

  async #connectOnce(signal: AbortSignal, seen?: boolean): Promise<void> {
    this.#isReady = false;
    await this.connect(signal, seen);
    this.#isReady = true;
    this.#leftAs = undefined;
  }

  /** At the start of every operation: what was lost since the last one is connected again. */
  protected async ready(signal: AbortSignal): Promise<void> {
    signal.throwIfAborted();
    if (this.#isLost) await this.connectAgain(signal);
  }

  get #isLost(): boolean {
    return !this.#isReady || this.#leftAs !== undefined || this.wasLost;
  }

  /** @param bringBack how, where it is not the usual way */
  protected async connectAgain(
    signal: AbortSignal,
    bringBack: typeof this.bringBack = (connectOnce, abort) => this.bringBack(connectOnce, abort),
  ): Promise<void> {
    // Another operation may be at it; how that ends for it is its own affair.
    while (this.#bringingBack) {
      await unlessAborted(
        this.#bringingBack.catch(() => {}),
        signal,
      );
      if (!this.#isLost) return;
    }
    this.#checkWorthTrying();
    this.log.warn({ device: this.name }, "connecting again and setting up anew");
    const connectOnce = (abort: AbortSignal) => this.#connectOnce(abort);
    this.#bringingBack = bringBack(connectOnce, signal).then(() => this.setUp(signal, true));
    try {
      await this.#bringingBack;
      this.#gaveUp = undefined;
    } catch (error) {
      if (!signal.aborted) this.#gaveUp = { error, atSeconds: this.clock.monotonicSeconds() };
      throw error;
    } finally {
      this.#bringingBack = undefined;
    }
  }

  /** An attempt takes its time, and each of many settings would make its own. */
  #checkWorthTrying(): void {
    if (!this.#gaveUp) return;
    const { error, atSeconds } = this.#gaveUp;
    const lostForSeconds = this.clock.monotonicSeconds() - atSeconds;
    const nextSeconds = retrySeconds - lostForSeconds;
    if (nextSeconds <= 0 || this.seenSinceSeconds > atSeconds) return;
    const reason = error instanceof Error ? error.message : String(error);
    throw new UnreachableError(this.name, reason, { lostForSeconds, nextSeconds });
  }

  /** Carries a motion out; the device is stopped if it is aborted or how it ended is not known. */
  protected stoppedIfFailed<T>(
    work: () => Promise<T>,
    stop: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<T> {
    const { name: device, log } = this;
    const leavesMoving = (error: unknown) => this.leavesMoving(error);
    return stopOnFailure({ device, log, leavesMoving }, work, stop, signal);
  }

  /** A motion that a command for safety's sake ends: it must not undo it afterwards. */
  protected overrulable<T>(work: (signal: AbortSignal) => Promise<T>, signal: AbortSignal): Promise<T> {
    this.#ownMotions++;
    return work(AbortSignal.any([signal, this.#overruling.signal])).finally(() => {
      this.#ownMotions--;
      this.#ownMotionEndedSeconds = this.clock.monotonicSeconds();
    });
  }

  /** A motion of ours is under way, or was a moment ago. */
  protected get isMovedFromHere(): boolean {
    const sinceSeconds = this.clock.monotonicSeconds() - this.#ownMotionEndedSeconds;
    return this.#ownMotions > 0 || sinceSeconds < ownMotionLingersSeconds;
  }

  /**
   * Sends a command for safety's sake: at once, whatever is known, and again if the device is just being connected anew.
   * Motions that were asked for before are given up.
   */
  protected async sendUnasked(send: (signal: AbortSignal) => Promise<void>, signal: AbortSignal) {
    signal.throwIfAborted();
    this.#overruling.abort(new OverruledError(this.name));
    this.#overruling = new AbortController();
    try {
      await send(signal);
    } catch (error) {
      if (signal.aborted || !this.#bringingBack) throw error;
      await unlessAborted(
        this.#bringingBack.catch(() => {}),
        signal,
      );
      await send(signal);
    }
  }

  async readSettings(signal: AbortSignal): Promise<readonly Setting[]> {
    signal.throwIfAborted();
    if (this.#leftAs) return this.#leftAs;
    return this.recovering(async () => {
      // The first reading is the baseline: it tells how the device was found, later ones how it is.
      const { settings, connected } = await resolveAll({
        settings: readKeptSettings(this.keptSettings(), signal),
        connected:
          this.#ownsConnection && (this.#wasRead ? this.isConnected(signal) : this.#foundConnected === true),
      });
      if (!this.#ownsConnection) return settings;
      this.#wasRead = true;
      return [...settings, { key: connectionKey, value: connected }];
    }, signal);
  }

  async restoreSetting(setting: Setting, signal: AbortSignal): Promise<void> {
    if (setting.key === connectionKey) return this.#restoreConnection(setting.value === true, signal);
    await this.recovering(
      () => requireSetting(this.keptSettings(), setting.key, this.name).restore(setting.value, signal),
      signal,
    );
  }

  /** What was read just before is from then on what `readSettings` gives. */
  async #restoreConnection(connected: boolean, signal: AbortSignal): Promise<void> {
    if (connected) return this.ready(signal);
    if (this.#leftAs || !(await this.isConnected(signal))) return;
    const last = await this.readSettings(signal);
    await this.disconnect(signal, true);
    if (await this.isConnected(signal)) throw new ReadbackError(this.name, connectionKey, false, true);
    this.#leftAs = withDisconnected(last);
  }

  sameSetting(before: Setting, now: Setting): boolean {
    return isSameSetting(this.keptSettings(), before, now);
  }

  async isAlive(signal: AbortSignal): Promise<boolean> {
    if (signal.aborted || this.#leftAs) return false;
    try {
      const withinSeconds = deadlineOver(this.roundTripSeconds, aliveSeconds);
      await this.#within(withinSeconds, "a sign of life", (own) => this.ping(own), signal);
      return true;
    } catch {
      return false;
    }
  }

  /** A device that was found disconnected and has not been put back yet is disconnected here. */
  async [Symbol.asyncDispose](): Promise<void> {
    if (this.#foundConnected !== false || this.#leftAs) return;
    this.#isLeftConnected = !(await this.closing(async (signal) => {
      if (!this.isReached)
        throw new DeviceLostError(this.name, "nothing is known of its connection any more");
      if (await this.isConnected(signal)) await this.disconnect(signal, true);
    }));
  }

  /** It was found disconnected, and whether it is so again could not be seen to. */
  get isLeftConnected(): boolean {
    return this.#isLeftConnected;
  }

  /** Leaves something as it was found when the role is closed: in a short time of its own, never failing. @returns whether it did */
  protected async closing(work: (signal: AbortSignal) => Promise<void>): Promise<boolean> {
    try {
      await this.#within(closeSeconds, "closing", work);
      return true;
    } catch (error) {
      const fields = { device: this.name, error: String(error) };
      this.log.warn(fields, "was found disconnected and could not be left so");
      return false;
    }
  }

  #within<T>(
    withinSeconds: number,
    what: string,
    work: (signal: AbortSignal) => Promise<T>,
    signal = neverAborted,
  ): Promise<T> {
    return withDeadline(this.clock, { device: this.name, what, withinSeconds, signal }, work);
  }
}
