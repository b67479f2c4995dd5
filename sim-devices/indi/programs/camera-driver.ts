#!/usr/bin/env bun
import { usualMechanics } from "../../scene/mechanics/mechanics-spec.ts";
import { ScenePainter } from "../../scene/painter.ts";
import { World } from "../../scene/world.ts";
import { sceneNames } from "../../scene-devices.ts";
import { CameraDevice } from "../devices/camera-device.ts";
import { type RunningDriver, runDriver } from "../run-driver.ts";
import { SnoopedRig } from "../snooped-rig.ts";
import { programSetting, standardPipes } from "./program-setting.ts";

/**
 * The scene's camera as a driver program for a device server. Its picture follows the devices that ACTIVE_DEVICES
 * names: mount (and site), focuser, filter wheel, rotator, cover and diffuser, whoever drives them.
 * EVENFIELD_ACTIVE sets names to start with: "ACTIVE_TELESCOPE=Some Mount;ACTIVE_FOCUSER=Some Focuser".
 */
const { spec, clock } = programSetting(process.env);
const active: Record<string, string> = {
  ACTIVE_TELESCOPE: "Telescope Simulator",
  ACTIVE_ROTATOR: "Rotator Simulator",
  ACTIVE_FOCUSER: "Focuser Simulator",
  ACTIVE_FILTER: "Filter Simulator",
  ACTIVE_COVER: sceneNames.cover,
  ACTIVE_DIFFUSER: sceneNames.diffuser,
};
for (const pair of (process.env.EVENFIELD_ACTIVE ?? "").split(";")) {
  const [role = "", device = ""] = pair.split("=");
  if (role in active) active[role] = device;
}

const painter = new ScenePainter(spec);
const elsewhere = new SnoopedRig({
  clock,
  active,
  mount: spec.mount,
  leafSeconds: { cover: usualMechanics.coverSeconds, diffuser: usualMechanics.diffuserSeconds },
});
const world = new World({ spec, clock, paint: (light, ask) => painter.paint(light, ask), elsewhere });
const camera = new CameraDevice(sceneNames.camera, world, active, (now) => {
  elsewhere.active = now;
  askAround();
});
const driver: RunningDriver = runDriver([camera], standardPipes(), (element) => elsewhere.hear(element));

function askAround(): void {
  for (const wish of elsewhere.wishes()) driver.snoop(wish);
}

askAround();
process.exit(await driver.ended);
