import type { ForeignCommands } from "./foreign-commands.ts";

/** A setting's value as saved in a baseline: plain data that survives JSON unchanged. */
export type SettingValue = number | string | boolean | readonly number[];

/**
 * One thing that the device keeps and that a run may change.
 * `key` is stable over reconnects and restarts (for example `gain`, `region`, `trackMode`, `pointing`).
 */
export interface Setting {
  readonly key: string;
  readonly value: SettingValue;
  readonly unit?: string;
}

/** What every role can do. An adapter takes its link, clock and log when it is made. */
export interface Device extends AsyncDisposable {
  /** The device's own name, as its server gives it. */
  readonly name: string;
  /** Which role it plays: a name of `roles`. */
  readonly role: string;
  /** Reads from the device every setting that a run may change, in an order in which they can be put back. */
  readSettings(signal: AbortSignal): Promise<readonly Setting[]>;
  /**
   * Puts one setting back as `readSettings` gave it and reads it back. Does nothing when it is so already.
   * @throws ReadbackError, DeviceLostError, DeadlineError, RefusedError
   */
  restoreSetting(setting: Setting, signal: AbortSignal): Promise<void>;
  /** Whether a setting read before and one read now are the same within the device's own tolerance. */
  sameSetting(before: Setting, now: Setting): boolean;
  /** How long it takes to answer a question: the worst of late [s]; 0 before it was asked anything. */
  readonly roundTripSeconds: number;
  /** Resolves `true` if the device answers now; never throws. Silence is told apart from slowness by asking. */
  isAlive(signal: AbortSignal): Promise<boolean>;
  /** What somebody else told it to do meanwhile. */
  readonly foreignCommands: ForeignCommands;
  /** What it can do, for people and for `probe`: ability → a short word or figure. */
  describe(): Readonly<Record<string, string>>;
}

/** Both ends included. */
export interface Range {
  readonly min: number;
  readonly max: number;
  /** The device's own granularity; absent when continuous or unknown. */
  readonly step?: number;
}
