import type { World } from "../scene/world.ts";
import { CameraDevice } from "./devices/camera-device.ts";
import { CapDevice } from "./devices/cap-device.ts";
import { DomeDevice } from "./devices/dome-device.ts";
import { FocuserDevice } from "./devices/focuser-device.ts";
import { MountDevice } from "./devices/mount-device.ts";
import { RotatorDevice } from "./devices/rotator-device.ts";
import { WeatherDevice } from "./devices/weather-device.ts";
import { WheelDevice } from "./devices/wheel-device.ts";
import type { SimDevice } from "./sim-device.ts";

/** What the devices of a scene are called on the wire. */
export const sceneNames = {
  camera: "Scene Camera",
  mount: "Scene Mount",
  cover: "Scene Cover",
  diffuser: "Scene Diffuser",
  focuser: "Scene Focuser",
  wheel: "Scene Wheel",
  rotator: "Scene Rotator",
  dome: "Scene Dome",
  weather: "Scene Weather",
} as const;

/** All devices of one rig, for a server of our own. */
export function sceneDevices(world: World): SimDevice[] {
  const n = sceneNames;
  return [
    new CameraDevice(n.camera, world, {
      ACTIVE_TELESCOPE: n.mount,
      ACTIVE_ROTATOR: n.rotator,
      ACTIVE_FOCUSER: n.focuser,
      ACTIVE_FILTER: n.wheel,
      ACTIVE_COVER: n.cover,
      ACTIVE_DIFFUSER: n.diffuser,
    }),
    new MountDevice(n.mount, world),
    new CapDevice(n.cover, world, "cover"),
    new CapDevice(n.diffuser, world, "diffuser"),
    new FocuserDevice(n.focuser, world),
    new WheelDevice(n.wheel, world),
    new RotatorDevice(n.rotator, world),
    new DomeDevice(n.dome, world),
    new WeatherDevice(n.weather, world),
  ];
}
