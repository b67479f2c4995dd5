import type { Random } from "../../drivers/kit/random.ts";
import { sceneNames } from "../scene-devices.ts";
import type { Fault, ScriptedFault } from "./fault.ts";
import { driverDeath, lateReply, linkCut, lostReply } from "./server-faults.ts";
import {
  cameraStuckBusy,
  cloud,
  filterMissing,
  lyingReadback,
  mountNotTracking,
  rain,
  stuck,
} from "./world-faults.ts";

/** Every kind of fault, each with its own chance in it. */
const kinds: readonly ((random: Random) => Fault)[] = [
  filterMissing,
  mountNotTracking,
  cameraStuckBusy,
  linkCut,
  (random) => cloud(random.between(0.02, 0.6)),
  (random) => rain(random.between(0.5, 10)),
  (random) => stuck("cover", random.uniform()),
  (random) => stuck(random.pick(["diffuser", "focuser", "wheel", "rotator"] as const)),
  (random) => lyingReadback(random.pick(["cover", "diffuser", "focuser", "camera"] as const)),
  (random) => lostReply({ device: anyDevice(random) }, random.whole(1, 3)),
  (random) => lateReply({ device: anyDevice(random) }, random.between(1, 20)),
  (random) => driverDeath(anyDevice(random)),
];

function anyDevice(random: Random): string {
  return random.pick(Object.values(sceneNames));
}

/** So many faults within a time, the same ones for the same seed; half of them pass. */
export function drawFaults(
  random: Random,
  options: { readonly count: number; readonly withinSeconds: number },
): ScriptedFault[] {
  return Array.from({ length: options.count }, (): ScriptedFault => {
    const fault = random.pick(kinds)(random);
    const afterSeconds = random.between(0, options.withinSeconds);
    return random.uniform() < 0.5
      ? { fault, afterSeconds }
      : { fault, afterSeconds, forSeconds: random.between(5, options.withinSeconds / 2) };
  });
}
