import { expect } from "vitest";
import { systemClock } from "../../drivers/kit/clock.ts";
import { tcpOpener } from "../../drivers/kit/tcp-link.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { onlyAHangMs } from "../only-a-hang.ts";
import { smallScene } from "../stage/scenes.ts";
import { cameraConformance } from "./conformance/camera.ts";
import { deviceConformance } from "./conformance/device.ts";
import { mountConformance } from "./conformance/mount.ts";
import { moversConformance } from "./conformance/movers.ts";
import type { Adapter } from "./conformance/rig-under-test.ts";
import { onSceneRig, southOfZenith } from "./scene-rig.ts";

/** The simulated rig in memory, on a virtual clock. What is said to be put back is checked on the world itself. */
const inMemory: Adapter = {
  name: "INDI in memory, simulated rig",
  timeoutMs: onlyAHangMs,
  drive: async (work) => {
    const clock = new VirtualClock(Date.parse(smallScene.startUtc));
    await using simulator = await startSimulator({ spec: smallScene, clock });
    const { world } = simulator;
    const sameAsBefore = () => {
      const before = world.account();
      return () => expect(accountDifferences(before, world.account())).toEqual([]);
    };
    return await clock.drive(onSceneRig({ clock, open: simulator.openIndi, sameAsBefore, world }, work));
  },
};

/** The same over loopback TCP in real time: only what needs no long wait. */
const overTcp: Adapter = {
  name: "INDI over TCP, simulated rig",
  timeoutMs: onlyAHangMs,
  drive: async (work) => {
    await using simulator = await startSimulator({ spec: smallScene, clock: systemClock, indiPort: 0 });
    const open = tcpOpener({ host: "127.0.0.1", port: simulator.indi!.port });
    return await onSceneRig({ clock: systemClock, open, world: simulator.world }, work);
  },
};

deviceConformance(inMemory);
cameraConformance(inMemory);
mountConformance(inMemory, southOfZenith);
moversConformance(inMemory, ["focuser", "wheel", "rotator", "cover", "diffuser", "dome", "weather"]);
deviceConformance(overTcp);
cameraConformance(overTcp);
