import { DeadlineError } from "../../kit/errors.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { switchIn } from "../wire/property.ts";
import type { IndiDevice } from "./device.ts";

const connectSecondsMax = 30;
const disconnectSecondsMax = 15;
/** So long without a new definition is their end [s]. */
const quietSeconds = 0.5;
/** Longest wait for a driver that still connects to hear that it should not [s]. */
const takeBackSeconds = 5;

/**
 * Switches CONNECTION on if it is off and waits for what the device then defines. There is no mark at the end of the
 * definitions, so a time of quiet has to do; counted over this device's definitions only, as others chatter for ever.
 * @throws RefusedError with the device's own words
 */
export async function connectDevice(device: IndiDevice, signal: AbortSignal): Promise<void> {
  const { clock } = device.wires;
  const elapsedSeconds = startStopwatch(clock);
  const leftSeconds = () => connectSecondsMax - elapsedSeconds();
  await device.require(["CONNECTION"], { withinSeconds: connectSecondsMax }, signal);
  if (!isSwitchedOn(device)) {
    await commandConnection(device, true, leftSeconds(), signal).catch(async (error: unknown) => {
      // The command is on its way all the same, and nobody waits for its answer: it is taken back.
      if (signal.aborted)
        await commandConnection(device, false, takeBackSeconds, neverAborted).catch(() => {});
      throw error;
    });
  }
  const sinceSeconds = clock.monotonicSeconds();
  for (;;) {
    const quietSoFar = clock.monotonicSeconds() - Math.max(sinceSeconds, device.lastDefinedSeconds);
    if (quietSoFar >= quietSeconds - 1e-3) return;
    if (leftSeconds() <= 0) {
      throw new DeadlineError(device.name, "defining its properties", connectSecondsMax);
    }
    await clock.sleep(Math.min(quietSeconds - quietSoFar, leftSeconds()), signal);
  }
}

/** Switches a device off; does nothing when it is off. */
export async function disconnectDevice(device: IndiDevice, signal: AbortSignal): Promise<void> {
  if (isSwitchedOn(device)) await commandConnection(device, false, disconnectSecondsMax, signal);
}

export function isSwitchedOn(device: IndiDevice): boolean {
  return switchIn(device.property("CONNECTION"), "CONNECT") === true;
}

async function commandConnection(
  device: IndiDevice,
  connected: boolean,
  withinSeconds: number,
  signal: AbortSignal,
): Promise<void> {
  await device.change(
    "CONNECTION",
    connected ? { CONNECT: true } : { DISCONNECT: true },
    {
      withinSeconds,
      finalStates: connected ? ["Ok"] : ["Idle", "Ok"],
      errorMessages: "ignore", // drivers grumble about missing settings while they connect well: the state decides
      arrived: (vector) => switchIn(vector, "CONNECT") === connected,
    },
    signal,
  );
}
