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
  if (device.isSlow) askInterfaceVersion(device, signal); // it will be needed if the device is not as wanted
  return device.get("connected", flag, signal);
}

/**
 * Does nothing to a device that is connected already. @param seen whether it was so a moment ago, to be asked no more
 * @throws RefusedError, DeadlineError, DeviceLostError
 */
export function connectDevice(device: AlpacaDevice, signal: AbortSignal, seen?: boolean): Promise<void> {
  return bringTo(true, device, signal, seen);
}

/** A hub may stay connected for its other clients; that is no failure. */
export function disconnectDevice(device: AlpacaDevice, signal: AbortSignal, seen?: boolean): Promise<void> {
  return bringTo(false, device, signal, seen);
}

/** As last heard; what a bridge that is not connected does not know is asked for again. */
const versions = new WeakMap<AlpacaDevice, Promise<number | undefined>>();

/** An error counts as the oldest version. Bridges know it only once they are connected. */
async function interfaceVersion(device: AlpacaDevice, signal: AbortSignal): Promise<number> {
  askInterfaceVersion(device, signal);
  try {
    return (await versions.get(device)) ?? 1;
  } finally {
    if (!device.isSlow) versions.delete(device);
  }
}

function askInterfaceVersion(device: AlpacaDevice, signal: AbortSignal): void {
  if (versions.has(device)) return;
  const asked = device.optional("interfaceversion", whole, signal);
  versions.set(device, asked);
  const forget = () => void versions.delete(device);
  asked.then((version) => version === undefined && forget(), forget);
}

async function bringTo(
  wanted: boolean,
  device: AlpacaDevice,
  signal: AbortSignal,
  seen?: boolean,
): Promise<void> {
  if ((seen ?? (await isConnected(device, signal))) === wanted) return;
  const version = await interfaceVersion(device, signal);
  const isThere = await bringAsynchronously(wanted, version, device, signal);
  if (isThere === undefined)
    await device.put("connected", { Connected: wanted }, signal, { withinSeconds: connectSecondsMax });
  const what = wanted ? "connecting" : "disconnecting";
  const isReached = async (abort: AbortSignal) =>
    (await isConnected(device, abort)) === wanted ? true : undefined;
  const options = { withinSeconds: wanted ? connectSecondsMax : 20, precisionSeconds: 0.3 };
  const reached =
    isThere ||
    (await device.until(what, options, isReached, signal).catch((error: unknown) => {
      if (wanted) throw error;
      signal.throwIfAborted();
      return false;
    }));
  if (!reached && !wanted) {
    device.server.log.debug(
      { device: device.name },
      "the server keeps the device connected, for others perhaps",
    );
  }
  device.forgetAbsences();
}

/** @returns whether it is as wanted afterwards; `undefined` where the device does not know this way: nothing has happened */
async function bringAsynchronously(
  wanted: boolean,
  version: number,
  device: AlpacaDevice,
  signal: AbortSignal,
): Promise<boolean | undefined> {
  const since = asynchronousFrom[device.type] ?? Number.POSITIVE_INFINITY;
  if (version < since) return undefined;
  try {
    await device.put(wanted ? "connect" : "disconnect", {}, signal, { withinSeconds: connectSecondsMax });
  } catch (error) {
    if (isAbsence(error)) return undefined; // claims the version and lacks the member
    throw error;
  }
  // A failed attempt is told by `connecting`, as an error.
  let isThere = false;
  const look = async (abort: AbortSignal) => {
    const connecting = device.get("connecting", flag, abort);
    const connected = isConnected(device, abort).catch(() => undefined);
    if (await connecting) return undefined;
    isThere = (await connected) === wanted;
    return true;
  };
  const options = { withinSeconds: connectSecondsMax, precisionSeconds: 0.2 };
  await device.until(wanted ? "connecting" : "disconnecting", options, look, signal);
  if (wanted && !isThere && !(await isConnected(device, signal))) {
    throw new RefusedError(device.name, "connecting ended and the device is not connected");
  }
  return isThere || wanted;
}
