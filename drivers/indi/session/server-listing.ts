import type { Clock } from "../../kit/clock.ts";
import type { OpenLink } from "../../kit/links.ts";
import type { Log } from "../../kit/log.ts";
import type { Random } from "../../kit/random.ts";
import { RigSeal } from "../../kit/seal.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { textIn } from "../wire/property.ts";
import { IndiClient } from "./client.ts";

export interface IndiListing {
  readonly name: string;
  readonly driver: string;
  readonly version: string;
  /** DRIVER_INTERFACE: 1 telescope, 2 CCD, 8 focuser, 16 wheel, 32 dome, 128 weather, 512 dust cap, 4096 rotator, … */
  readonly interfaceBits: number;
}

/** Definitions of all drivers come one after the other; this long without a new device is the end of them [s]. */
const quietSeconds = 1;
const listSecondsMax = 10;

/** The devices of one INDI server; connects none of them. @throws DeviceLostError when nobody answers */
export async function listIndiServer(
  options: { open: OpenLink; clock: Clock; log: Log; random: Random; serverName: string },
  signal: AbortSignal,
): Promise<readonly IndiListing[]> {
  const { clock } = options;
  await using client = new IndiClient({ ...options, seal: new RigSeal() });
  await client.connect(signal, { withinSeconds: 3 });
  const elapsedSeconds = startStopwatch(clock);
  let changedSeconds = 0;
  let seen = "";
  while (elapsedSeconds() - changedSeconds < quietSeconds && elapsedSeconds() < listSecondsMax) {
    await clock.sleep(0.1, signal);
    const now = client.deviceNames().join("\n");
    if (now !== seen) changedSeconds = elapsedSeconds();
    seen = now;
  }
  return client.deviceNames().map((name) => {
    const info = client.device(name).property("DRIVER_INFO");
    return {
      name,
      driver: textIn(info, "DRIVER_NAME") ?? "",
      version: textIn(info, "DRIVER_VERSION") ?? "",
      interfaceBits: Number(textIn(info, "DRIVER_INTERFACE") ?? 0) || 0,
    };
  });
}
