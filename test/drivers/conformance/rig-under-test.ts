import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Device, Setting } from "../../../drivers/roles/device.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";

/** A rig over some adapter, made anew for each test. */
export interface RigUnderTest extends AsyncDisposable {
  readonly rig: Rig;
  readonly clock: Clock;
  /**
   * Remembers the rig as it is by an account other than the driver's: a separate program that reads every value, or
   * the simulated world itself. What it gives back compares, and fails the test if anything differs.
   */
  remember(): Promise<() => Promise<void>>;
}

/** How an adapter is brought up for one test. */
export interface Adapter {
  readonly name: string;
  /** Runs a test's work to its end: on a virtual clock by driving it, on a real one by waiting. */
  drive<T>(work: (rigUnderTest: RigUnderTest) => Promise<T>): Promise<T>;
  /** Longest that one test may take on a real clock [ms]. */
  readonly timeoutMs: number;
}

/** The settings of a device that differ from before by its own measure; its connection is the test's own doing. */
export async function changedSettings(
  device: Device,
  before: readonly Setting[],
  signal: AbortSignal,
): Promise<string[]> {
  const now = await device.readSettings(signal);
  return before
    .filter(({ key }) => key !== "connected")
    .filter((setting) => {
      const found = now.find(({ key }) => key === setting.key);
      return !found || !device.sameSetting(setting, found);
    })
    .map(({ key }) => key);
}

/** Puts everything back in the order given, as the end of a run does. */
export async function restoreAll(
  device: Device,
  before: readonly Setting[],
  signal: AbortSignal,
): Promise<void> {
  for (const setting of before) await device.restoreSetting(setting, signal);
}

/** A signal that nobody aborts. */
export function calm(): AbortSignal {
  return new AbortController().signal;
}
