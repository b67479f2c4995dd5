import { expect } from "vitest";
import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Device, Setting } from "../../../drivers/roles/device.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import { devicesOf, type Rig } from "../../../drivers/roles/rig.ts";

/** A rig over some adapter, made anew for each test. */
export interface RigUnderTest extends AsyncDisposable {
  readonly rig: Rig;
  readonly clock: Clock;
  /**
   * Remembers the rig as it is by an account other than the driver's: a separate program that reads every value, or
   * the simulated world itself. What it gives back compares, and fails the test if anything differs.
   */
  remember(): Promise<() => Promise<void>>;
  /** Whether that device is connected, by the same account. */
  isConnected(device: string): Promise<boolean>;
  /** Left out: it can't be made to. */
  readonly mountFaults?: MountFaults;
}

/** What a simulated mount can be made to do wrong. */
export interface MountFaults {
  refuseTracking(): void;
  /** The next slew ends so far from its target and is reported as arrived. */
  endNextSlewOff(degrees: number): void;
}

/** How an adapter is brought up for one test. */
export interface Adapter {
  readonly name: string;
  /** Runs a test's work to its end: on a virtual clock by driving it, on a real one by waiting. */
  drive<T>(work: (rigUnderTest: RigUnderTest) => Promise<T>): Promise<T>;
  /** Longest that one test may take on a real clock [ms]. */
  readonly timeoutMs: number;
}

/** The settings of a device that differ from before by its own measure. */
export async function changedSettings(
  device: Device,
  before: readonly Setting[],
  signal: AbortSignal,
): Promise<string[]> {
  const now = await device.readSettings(signal);
  return before
    .filter((setting) => {
      const found = now.find(({ key }) => key === setting.key);
      return !found || !device.sameSetting(setting, found);
    })
    .map(({ key }) => key);
}

/**
 * Puts everything back in the order given, as the end of a run does: the connection last, when the truth about all
 * else was looked at, because many a device shows nothing without one.
 */
export async function restoreAll(
  device: Device,
  before: readonly Setting[],
  { isConnected, checkTruth }: Pick<RigUnderTest, "isConnected"> & { checkTruth(): Promise<void> },
  signal: AbortSignal,
): Promise<void> {
  const connection = before.find(({ key }) => key === connectionKey);
  for (const setting of before) if (setting !== connection) await device.restoreSetting(setting, signal);
  const isLeft = connection?.value === false;
  expect(await changedSettings(device, before, signal)).toEqual(isLeft ? [connectionKey] : []);
  await checkTruth();
  if (connection === undefined) return;
  await device.restoreSetting(connection, signal);
  expect(await isConnected(device.name)).toBe(connection.value);
  expect(await changedSettings(device, [connection], signal)).toEqual([]);
}

/** Nobody else was at the rig: what its devices tell by themselves is no command. */
export function expectNoForeignCommands(rig: Rig): void {
  const noted = devicesOf(rig).map(({ role, foreignCommands }) => [role, foreignCommands.last?.what]);
  expect(noted).toEqual(devicesOf(rig).map(({ role }) => [role, undefined]));
}

/** A signal that nobody aborts. */
export function calm(): AbortSignal {
  return new AbortController().signal;
}
