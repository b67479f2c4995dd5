import { expect } from "vitest";
import { systemClock } from "../../drivers/kit/clock.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import type { SceneDeviceOptions } from "../../sim-devices/scene-devices.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { onlyAHangMs } from "../only-a-hang.ts";
import { smallScene } from "../stage/scenes.ts";
import { cameraConformance } from "./conformance/camera.ts";
import { deviceConformance } from "./conformance/device.ts";
import { mountConformance } from "./conformance/mount.ts";
import { moversConformance } from "./conformance/movers.ts";
import type { Adapter } from "./conformance/rig-under-test.ts";
import { alpacaEntries, onSceneRig, southOfZenith } from "./scene-rig.ts";

/** The simulated rig in memory, on a virtual clock. What is said to be put back is checked on the world itself. */
function inMemory(name: string, alpaca: SceneDeviceOptions): Adapter {
  return {
    name: `Alpaca in memory, ${name}`,
    timeoutMs: onlyAHangMs,
    drive: async (work) => {
      const clock = new VirtualClock(Date.parse(smallScene.startUtc));
      await using simulator = await startSimulator({ spec: smallScene, clock, alpaca });
      const { world } = simulator;
      const sameAsBefore = () => {
        const before = world.account();
        return () => expect(accountDifferences(before, world.account())).toEqual([]);
      };
      const links = { clock, entries: alpacaEntries(), exchanges: simulator.openAlpaca, sameAsBefore, world };
      return await clock.drive(onSceneRig(links, work));
    },
  };
}

/** The same over HTTP on loopback in real time: only what needs no long wait. */
const overHttp: Adapter = {
  name: "Alpaca over HTTP, simulated rig",
  timeoutMs: onlyAHangMs,
  drive: async (work) => {
    await using simulator = await startSimulator({
      spec: smallScene,
      clock: systemClock,
      alpacaPort: 0,
      alpaca: { connectSeconds: 0 },
    });
    const { alpaca, world } = simulator;
    return await onSceneRig({ clock: systemClock, entries: alpacaEntries(alpaca!.port), world }, work);
  },
};

const all = ["focuser", "wheel", "rotator", "cover", "diffuser", "dome", "weather"] as const;
for (const adapter of [
  inMemory("interfaces of Platform 7", {}),
  inMemory("interfaces before Platform 7, gain by index", { platform: 6, gainBy: "index" }),
  inMemory("slews that answer at their end", { platform: 6, slews: "sync" }),
]) {
  deviceConformance(adapter);
  cameraConformance(adapter);
  mountConformance(adapter, southOfZenith);
  moversConformance(adapter, all);
}
deviceConformance(overHttp);
cameraConformance(overHttp);
