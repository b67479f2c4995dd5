import { CameraDevice as AlpacaCamera } from "./alpaca/devices/camera-device.ts";
import { ConditionsDevice } from "./alpaca/devices/conditions-device.ts";
import { CoverDevice } from "./alpaca/devices/cover-device.ts";
import { DomeDevice as AlpacaDome } from "./alpaca/devices/dome-device.ts";
import { FocuserDevice as AlpacaFocuser } from "./alpaca/devices/focuser-device.ts";
import { RotatorDevice as AlpacaRotator } from "./alpaca/devices/rotator-device.ts";
import { SafetyDevice } from "./alpaca/devices/safety-device.ts";
import { SwitchDevice } from "./alpaca/devices/switch-device.ts";
import { TelescopeDevice } from "./alpaca/devices/telescope-device.ts";
import { WheelDevice as AlpacaWheel } from "./alpaca/devices/wheel-device.ts";
import type { DeviceOptions, DeviceType, Identity, SimAlpacaDevice } from "./alpaca/sim-alpaca-device.ts";
import { uniqueId } from "./alpaca/unique-id.ts";
import { CameraDevice } from "./indi/devices/camera-device.ts";
import { CapDevice } from "./indi/devices/cap-device.ts";
import { DomeDevice } from "./indi/devices/dome-device.ts";
import { FocuserDevice } from "./indi/devices/focuser-device.ts";
import { MountDevice } from "./indi/devices/mount-device.ts";
import { RotatorDevice } from "./indi/devices/rotator-device.ts";
import { WeatherDevice } from "./indi/devices/weather-device.ts";
import { WheelDevice } from "./indi/devices/wheel-device.ts";
import type { SimDevice } from "./indi/sim-device.ts";
import type { World } from "./scene/world.ts";

/** What the devices of a scene are called on the wire, by the role that they are made for. */
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

/**
 * How the Alpaca devices of a scene behave, where the standard leaves a choice. Default: Platform 7, connecting takes
 * 0.2 s, gain by value, slews `async` or, on Platform 6, `both`.
 */
export type SceneDeviceOptions = Partial<DeviceOptions>;

type MakeIndi = (name: string, world: World) => SimDevice;
type MakeAlpaca = (identity: Identity, world: World, options: DeviceOptions) => SimAlpacaDevice;

const indi =
  (Device: new (...of: Parameters<MakeIndi>) => SimDevice): MakeIndi =>
  (...of) =>
    new Device(...of);
const alpaca =
  (Device: new (...of: Parameters<MakeAlpaca>) => SimAlpacaDevice): MakeAlpaca =>
  (...of) =>
    new Device(...of);

const n = sceneNames;
const activeDevices = {
  ACTIVE_TELESCOPE: n.mount,
  ACTIVE_ROTATOR: n.rotator,
  ACTIVE_FOCUSER: n.focuser,
  ACTIVE_FILTER: n.wheel,
  ACTIVE_COVER: n.cover,
  ACTIVE_DIFFUSER: n.diffuser,
};

/** What shows each of them over either protocol. */
const devices: Readonly<Record<keyof typeof sceneNames, readonly [MakeIndi, DeviceType, MakeAlpaca]>> = {
  camera: [(...of) => new CameraDevice(...of, activeDevices), "Camera", alpaca(AlpacaCamera)],
  mount: [indi(MountDevice), "Telescope", alpaca(TelescopeDevice)],
  cover: [
    (...of) => new CapDevice(...of, "cover"),
    "CoverCalibrator",
    (...of) => new CoverDevice(...of, "cover"),
  ],
  diffuser: [
    (...of) => new CapDevice(...of, "diffuser"),
    "CoverCalibrator",
    (...of) => new CoverDevice(...of, "diffuser"),
  ],
  focuser: [indi(FocuserDevice), "Focuser", alpaca(AlpacaFocuser)],
  wheel: [indi(WheelDevice), "FilterWheel", alpaca(AlpacaWheel)],
  rotator: [indi(RotatorDevice), "Rotator", alpaca(AlpacaRotator)],
  dome: [indi(DomeDevice), "Dome", alpaca(AlpacaDome)],
  weather: [indi(WeatherDevice), "SafetyMonitor", alpaca(SafetyDevice)],
};

const scene = Object.entries(sceneNames) as readonly [keyof typeof sceneNames, string][];

/** All devices of one rig, for an INDI server. */
export function indiDevices(world: World): SimDevice[] {
  return scene.map(([part, name]) => devices[part][0](name, world));
}

/** All devices of one rig, for an Alpaca server. Their numbers are their order among those of the same type. */
export function alpacaDevices(world: World, options: SceneDeviceOptions = {}): SimAlpacaDevice[] {
  const { platform = 7, connectSeconds = 0.2, gainBy = "value" } = options;
  const { slews = platform === 7 ? "async" : "both" } = options;
  const numbers = new Map<DeviceType, number>();
  const made = (name: string, type: DeviceType, make: MakeAlpaca) => {
    const number = numbers.get(type) ?? 0;
    numbers.set(type, number + 1);
    const identity = { type, number, name, uniqueId: uniqueId(world.spec.seed, type, number) };
    return make(identity, world, { platform, connectSeconds, gainBy, slews });
  };
  return [
    ...scene.map(([part, name]) => made(name, devices[part][1], devices[part][2])),
    made("Scene Station", "ObservingConditions", alpaca(ConditionsDevice)),
    made("Scene Switches", "Switch", alpaca(SwitchDevice)),
  ];
}
