import { RefusedError } from "../../kit/errors.ts";
import { flag, whole } from "../wire/values.ts";
import { type AlpacaDevice, isAbsence } from "./device.ts";

/** Devices may home, cool or load firmware while connecting [s]. */
const connectSecondsMax = 120;

/** From this interface version on a device connects asynchronously (Platform 7 of the standard). */
const asynchronousFrom: Readonly<Record<string, number>> = {
  camera: 4,
  covercalibrator: 2,
  dome: 3,
  filterwheel: 3,
  focuser: 4,
  observingconditions: 2,
  rotator: 4,
  safetymonitor: 3,
  switch: 3,
  telescope: 4,
};

export function isConnected(device: AlpacaDevice, signal: AbortSignal): Promise<boolean> {
  return device.get("connected", flag, signal);
}

/** Does nothing to a device that is connected already. @throws RefusedError, DeadlineError, DeviceLostError */
export function connectDevice(device: AlpacaDevice, signal: AbortSignal): Promise<void> {
  return bringTo(true, device, signal);
}

/** A hub may stay connected for its other clients; that is no failure. */
export async function disconnectDevice(device: AlpacaDevice, signal: AbortSignal): Promise<void> {
  await bringTo(false, device, signal);
}

/** An error counts as the oldest version. Bridges know it only once they are connected. */
async function interfaceVersion(device: AlpacaDevice, signal: AbortSignal): Promise<number> {
  return (await device.optional("interfaceversion", whole, signal)) ?? 1;
}

async function bringTo(wanted: boolean, device: AlpacaDevice, signal: AbortSignal): Promise<void> {
  if ((await isConnected(device, signal)) === wanted) return;
  if (!(await bringAsynchronously(wanted, device, signal))) {
    await device.put("connected", { Connected: wanted }, signal, { withinSeconds: connectSecondsMax });
  }
  const what = wanted ? "connecting" : "disconnecting";
  const reached = await device
    .until(
      what,
      { withinSeconds: wanted ? connectSecondsMax : 20, precisionSeconds: 0.3 },
      async (abort) => ((await isConnected(device, abort)) === wanted ? true : undefined),
      signal,
    )
    .catch((error: unknown) => {
      if (wanted) throw error;
      signal.throwIfAborted();
      return false;
    });
  if (!reached && !wanted) {
    device.server.log.debug(
      { device: device.name },
      "the server keeps the device connected, for others perhaps",
    );
  }
  device.forgetAbsences();
}

/** @returns whether the device knows this way; if not, nothing has happened */
async function bringAsynchronously(
  wanted: boolean,
  device: AlpacaDevice,
  signal: AbortSignal,
): Promise<boolean> {
  const since = asynchronousFrom[device.type] ?? Number.POSITIVE_INFINITY;
  if ((await interfaceVersion(device, signal)) < since) return false;
  try {
    await device.put(wanted ? "connect" : "disconnect", {}, signal, { withinSeconds: connectSecondsMax });
  } catch (error) {
    if (isAbsence(error)) return false; // claims the version and lacks the member
    throw error;
  }
  // A failed attempt is told by this reading, as an error.
  const options = { withinSeconds: connectSecondsMax, precisionSeconds: 0.2 };
  await device.untilOff(wanted ? "connecting" : "disconnecting", "connecting", options, signal);
  if (wanted && !(await isConnected(device, signal))) {
    throw new RefusedError(device.name, "connecting ended and the device is not connected");
  }
  return true;
}
