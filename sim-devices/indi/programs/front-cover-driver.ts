#!/usr/bin/env bun
import { World } from "../../scene/world.ts";
import { sceneNames } from "../../scene-devices.ts";
import { CapDevice } from "../devices/cap-device.ts";
import { runDriver } from "../run-driver.ts";
import { programSetting, standardPipes } from "./program-setting.ts";

/** The scene's cover and diffuser as a driver program for a device server: two devices, one process. */
const { spec, clock } = programSetting(process.env);
const world = new World({
  spec,
  clock,
  paint: () => {
    throw new Error("there is no camera in this program");
  },
});
const leaves = [
  new CapDevice(sceneNames.cover, world, "cover"),
  new CapDevice(sceneNames.diffuser, world, "diffuser"),
];
process.exit(await runDriver(leaves, standardPipes()).ended);
