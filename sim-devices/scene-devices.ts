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

/** @param active what a camera tells of the devices beside it */
type MakeIndi = (name: string, world: World, active: Readonly<Record<string, string>>) => SimDevice;
type MakeAlpaca = (identity: Identity, world: World, options: DeviceOptions) => SimAlpacaDevice;

const indi =
  (Device: new (name: string, world: World) => SimDevice): MakeIndi =>
  (name, world) =>
    new Device(name, world);
const alpaca =
  (Device: new (...of: Parameters<MakeAlpaca>) => SimAlpacaDevice): MakeAlpaca =>
  (...of) =>
    new Device(...of);

/** A part of the scene that a device shows. */
export type ScenePart = keyof typeof sceneNames;

/** What a camera tells of the devices beside it, by the part that each of them shows. */
const activeNames = {
  ACTIVE_TELESCOPE: "mount",
  ACTIVE_ROTATOR: "rotator",
  ACTIVE_FOCUSER: "focuser",
  ACTIVE_FILTER: "wheel",
  ACTIVE_COVER: "cover",
  ACTIVE_DIFFUSER: "diffuser",
} as const satisfies Record<string, ScenePart>;

/** What shows each of them over either protocol. */
const devices: Readonly<Record<ScenePart, readonly [MakeIndi, DeviceType, MakeAlpaca]>> = {
  camera: [(...of) => new CameraDevice(...of), "Camera", alpaca(AlpacaCamera)],
  mount: [indi(MountDevice), "Telescope", alpaca(TelescopeDevice)],
  cover: [
    (name, world) => new CapDevice(name, world, "cover"),
    "CoverCalibrator",
    (...of) => new CoverDevice(...of, "cover"),
  ],
  diffuser: [
    (name, world) => new CapDevice(name, world, "diffuser"),
    "CoverCalibrator",
    (...of) => new CoverDevice(...of, "diffuser"),
  ],
  focuser: [indi(FocuserDevice), "Focuser", alpaca(AlpacaFocuser)],
  wheel: [indi(WheelDevice), "FilterWheel", alpaca(AlpacaWheel)],
  rotator: [indi(RotatorDevice), "Rotator", alpaca(AlpacaRotator)],
  dome: [indi(DomeDevice), "Dome", alpaca(AlpacaDome)],
  weather: [indi(WeatherDevice), "SafetyMonitor", alpaca(SafetyDevice)],
};

/** A device as a server shows it. */
export interface ShownDevice<Part extends string = ScenePart> {
  readonly part: Part;
  readonly name: string;
}

/** On an Alpaca server also a station with numbers, and switches that move the diffuser. */
export interface ShownAlpacaDevice extends ShownDevice<ScenePart | "station" | "switches"> {
  /** Left out, the next that is free of its type. */
  readonly number?: number;
  /** What the switch that moves the diffuser is called. Default "Diffuser". */
  readonly switchName?: string;
}

const wholeScene: readonly ShownDevice[] = (Object.keys(sceneNames) as ScenePart[]).map((part) => ({
  part,
  name: sceneNames[part],
}));

/** The devices of an INDI server. Left out, all of one rig. */
export function indiDevices(world: World, shown: readonly ShownDevice[] = wholeScene): SimDevice[] {
  const nameOf = (part: ScenePart) => shown.find((device) => device.part === part)?.name ?? "";
  const active = Object.fromEntries(
    Object.entries(activeNames).map(([element, part]) => [element, nameOf(part)]),
  );
  return shown.map(({ part, name }) => devices[part][0](name, world, active));
}

/** What devices that are not named otherwise are called, those of Alpaca alone included. */
export const alpacaNames: Readonly<Record<ShownAlpacaDevice["part"], string>> = {
  ...sceneNames,
  station: "Scene Station",
  switches: "Scene Switches",
};

const wholeAlpacaScene: readonly ShownAlpacaDevice[] = (
  Object.keys(alpacaNames) as ShownAlpacaDevice["part"][]
).map((part) => ({ part, name: alpacaNames[part] }));

/** Type and number, as requests name them, of a part that a server of the whole scene shows: `camera/0`. */
export function alpacaPath(part: ScenePart): string {
  const type = typeOf(part);
  const sameType = wholeAlpacaScene.filter((shown) => typeOf(shown.part) === type);
  return `${type.toLowerCase()}/${sameType.findIndex((shown) => shown.part === part)}`;
}

/** The devices of an Alpaca server. Left out, all of one rig. */
export function alpacaDevices(
  world: World,
  options: SceneDeviceOptions = {},
  shown: readonly ShownAlpacaDevice[] = wholeAlpacaScene,
): SimAlpacaDevice[] {
  const { platform = 7, connectSeconds = 0.2, gainBy = "value" } = options;
  const { slews = platform === 7 ? "async" : "both" } = options;
  const ofDevice = { platform, connectSeconds, gainBy, slews };
  const taken = new Set(shown.map(({ part, number }) => `${typeOf(part)}/${number}`));
  const nextFree = (type: DeviceType) => {
    let number = 0;
    while (taken.has(`${type}/${number}`)) number++;
    taken.add(`${type}/${number}`);
    return number;
  };
  return shown.map(({ part, name, number: wanted, switchName = "Diffuser" }) => {
    const type = typeOf(part);
    const number = wanted ?? nextFree(type);
    const identity = { type, number, name, uniqueId: uniqueId(world.spec.seed, type, number) };
    if (part === "station") return new ConditionsDevice(identity, world, ofDevice);
    if (part === "switches") return new SwitchDevice(identity, world, ofDevice, switchName);
    return devices[part][2](identity, world, ofDevice);
  });
}

function typeOf(part: ShownAlpacaDevice["part"]): DeviceType {
  if (part === "station") return "ObservingConditions";
  return part === "switches" ? "Switch" : devices[part][1];
}
