import { expect, test } from "vitest";
import { connectRig } from "../../drivers/connect.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { devicesOf } from "../../drivers/roles/rig.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { tinyScene } from "../stage/scenes.ts";
import { calm } from "./conformance/rig-under-test.ts";
import { alpacaEntries, sceneEntries } from "./scene-rig.ts";

const scene = { ...tinyScene, startsWith: { ...tinyScene.startsWith, parked: false } };

test.each([
  ["INDI", sceneEntries],
  ["Alpaca", alpacaEntries()],
] as const)("a rig over %s is read, and takes no command, until its seal is opened", async (_, entries) => {
  const clock = new VirtualClock(Date.parse(scene.startUtc));
  await using simulator = await startSimulator({ spec: scene, clock });
  const { world } = simulator;
  const links = { openers: () => simulator.openIndi, exchanges: simulator.openAlpaca };
  const commands = () =>
    world.history
      .filter(
        ({ what, detail = "" }) =>
          what === "commanded" && !/: (CONNECTION|connect|WEATHER_REFRESH)/.test(detail),
      )
      .map(({ detail }) => detail);
  const signal = calm();
  const work = async () => {
    await using opened = await connectRig(
      entries,
      { clock, log: silentLog, random: new Random(1), ...links },
      signal,
    );
    const { camera, mount, cover, diffuser, focuser, wheel, rotator, dome, weather } = opened.rig;
    for (const device of devicesOf(opened.rig)) {
      await device.readSettings(signal);
      expect(await device.isAlive(signal)).toBe(true);
    }
    const { gain } = await camera.setup(signal);
    expect(gain).toBe(world.camera.settings.gain);
    await mount!.state(signal);
    await mount!.siteAndTime(signal);
    expect((await weather!.state(signal)).safety).toBe("safe");
    for (const command of [
      () => camera.configure({ gain: gain + 1 }, signal),
      () => camera.expose({ exposureSeconds: 1, frameType: "light" }, signal),
      () => camera.sendStop(signal),
      () => mount!.slewTo({ raHours: 5, decDegrees: 20 }, signal),
      () => mount!.ensureTracking("solar", signal),
      () => mount!.sendStop(signal),
      () => mount!.sendTrackingOff(signal),
      () => cover!.ensureOpen(signal),
      () => cover!.sendClose(signal),
      () => diffuser!.ensureClosed(signal),
      () => diffuser!.ensureOpen(signal),
      () => focuser!.moveTo(100, signal),
      () => wheel!.moveTo(3, signal),
      () => rotator!.moveTo(123, signal),
      () => dome!.turnTo(200, signal),
      () => dome!.ensureShutterOpen(signal),
      () => dome!.ensureShutterClosed(signal),
    ]) {
      await command().catch((error: unknown) => expect(error).not.toMatchObject({ code: "RIG_DEADLINE" }));
    }
    expect(commands()).toEqual([]);
    await expect(camera.configure({ gain: gain + 1 }, signal)).rejects.toThrow(
      "before the rig's baseline is on disk",
    );
    opened.seal.open();
    expect((await camera.configure({ gain: gain + 1 }, signal)).gain).toBe(gain + 1);
  };
  await clock.drive(work());
});
