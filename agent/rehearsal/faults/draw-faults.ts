import type { Random } from "../../../drivers/kit/random.ts";
import { sceneNames } from "../../../sim-devices/scene-devices.ts";
import {
  cutReply,
  decimalCommas,
  disconnectedByAnother,
  htmlError,
  serverRestart,
  stalledReply,
} from "./alpaca-faults.ts";
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

type DrawFault = (random: Random) => Fault;

/** Every kind of fault, each with its own chance in it. */
const worldKinds: readonly DrawFault[] = [
  filterMissing,
  mountNotTracking,
  cameraStuckBusy,
  (random) => cloud(random.between(0.02, 0.6)),
  (random) => rain(random.between(0.5, 10)),
  (random) => stuck("cover", random.uniform()),
  (random) => stuck(random.pick(["diffuser", "focuser", "wheel", "rotator"] as const)),
  (random) => lyingReadback(random.pick(["cover", "diffuser", "focuser", "camera"] as const)),
];

const indiKinds: readonly DrawFault[] = [
  linkCut,
  (random) => lostReply({ device: anyDevice(random) }, random.whole(1, 3)),
  (random) => lateReply({ device: anyDevice(random) }, random.between(1, 20)),
  (random) => driverDeath(anyDevice(random)),
];

const alpacaDevices = [
  "camera/0",
  "telescope/0",
  "covercalibrator/0",
  "covercalibrator/1",
  "focuser/0",
  "filterwheel/0",
  "rotator/0",
  "dome/0",
  "safetymonitor/0",
] as const;

const alpacaKinds: readonly DrawFault[] = [
  (random) => serverRestart(random.between(1, 20)),
  (random) => disconnectedByAnother(random.pick(alpacaDevices)),
  (random) => htmlError({ device: random.pick(alpacaDevices) }, random.whole(1, 3)),
  (random) => cutReply({ device: random.pick(alpacaDevices) }, random.whole(1, 3)),
  (random) => stalledReply({ device: random.pick(alpacaDevices) }, random.between(1, 40)),
  (random) => decimalCommas({ device: random.pick(alpacaDevices) }, random.whole(1, 20)),
];

function anyDevice(random: Random): string {
  return random.pick(Object.values(sceneNames));
}

/** So many faults within a time, the same ones for the same seed; half of them pass. */
export function drawFaults(
  random: Random,
  options: {
    readonly count: number;
    readonly withinSeconds: number;
    /** Between whom the faults of replies and links are. Default INDI. */
    readonly protocol?: "indi" | "alpaca";
  },
): ScriptedFault[] {
  const kinds = [...worldKinds, ...(options.protocol === "alpaca" ? alpacaKinds : indiKinds)];
  return Array.from({ length: options.count }, (): ScriptedFault => {
    const fault = random.pick(kinds)(random);
    const afterSeconds = random.between(0, options.withinSeconds);
    return random.uniform() < 0.5
      ? { fault, afterSeconds }
      : { fault, afterSeconds, forSeconds: random.between(5, options.withinSeconds / 2) };
  });
}
