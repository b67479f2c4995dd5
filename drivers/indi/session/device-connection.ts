import type { Clock } from "../../kit/clock.ts";
import { DeadlineError } from "../../kit/errors.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import { switchIn } from "../wire/property.ts";
import type { IndiDevice } from "./device.ts";

/** Longest wait for a driver that still connects to hear that it should not [s]. */
const takeBackSeconds = 5;

interface ConnectableDevice extends Pick<IndiDevice, "name" | "require" | "property" | "change"> {
  readonly wires: { readonly clock: Clock };
  /** Clock time of the newest definition [ms]. */
  readonly lastDefinedMs: number;
}

/**
 * Switches a device on and waits for what it then defines. There is no mark at the end of the definitions, so a time
 * of quiet has to do; counted over this device's definitions only, as others chatter for ever.
 */
export async function connectDevice(
  device: ConnectableDevice,
  signal: AbortSignal,
  options: { withinSeconds?: number; quietSeconds?: number },
): Promise<void> {
  const { withinSeconds = 30, quietSeconds = 0.5 } = options;
  const { clock } = device.wires;
  const endMs = clock.nowMs() + withinSeconds * 1000;
  const leftSeconds = () => (endMs - clock.nowMs()) / 1000;
  await device.require(["CONNECTION"], { withinSeconds }, signal);
  if (!isConnected(device)) {
    await commandConnection(device, true, leftSeconds(), signal).catch(async (error: unknown) => {
      // The command is on its way all the same, and nobody waits for its answer: it is taken back.
      if (signal.aborted)
        await commandConnection(device, false, takeBackSeconds, neverAborted).catch(() => {});
      throw error;
    });
  }
  const sinceMs = clock.nowMs();
  for (;;) {
    const quietSoFar = (clock.nowMs() - Math.max(sinceMs, device.lastDefinedMs)) / 1000;
    if (quietSoFar >= quietSeconds - 1e-3) return;
    if (leftSeconds() <= 0) throw new DeadlineError(device.name, "defining its properties", withinSeconds);
    await clock.sleep(Math.min(quietSeconds - quietSoFar, leftSeconds()), signal);
  }
}

/** Switches a device off; does nothing when it is off. */
export async function disconnectDevice(
  device: ConnectableDevice,
  signal: AbortSignal,
  options: { withinSeconds?: number },
): Promise<void> {
  const { withinSeconds = 15 } = options;
  if (!isConnected(device)) return;
  await commandConnection(device, false, withinSeconds, signal);
}

async function commandConnection(
  device: ConnectableDevice,
  connected: boolean,
  withinSeconds: number,
  signal: AbortSignal,
): Promise<void> {
  await device.change(
    "CONNECTION",
    connected ? { CONNECT: true } : { DISCONNECT: true },
    {
      withinSeconds,
      ...(connected ? {} : { finalStates: ["Idle", "Ok"] }),
      errorMessages: "ignore", // drivers grumble about missing settings while they connect well: the state decides
      arrived: (vector) => switchIn(vector, "CONNECT") === connected,
    },
    signal,
  );
}

function isConnected(device: ConnectableDevice): boolean {
  return switchIn(device.property("CONNECTION"), "CONNECT") === true;
}
