import { CameraDevice as AlpacaCamera, type CameraDeviceOptions } from "./alpaca/devices/camera-device.ts";
import { ConditionsDevice } from "./alpaca/devices/conditions-device.ts";
import { CoverDevice } from "./alpaca/devices/cover-device.ts";
import { DomeDevice as AlpacaDome } from "./alpaca/devices/dome-device.ts";
import { FocuserDevice as AlpacaFocuser } from "./alpaca/devices/focuser-device.ts";
import { RotatorDevice as AlpacaRotator } from "./alpaca/devices/rotator-device.ts";
import { SafetyDevice } from "./alpaca/devices/safety-device.ts";
import { SwitchDevice } from "./alpaca/devices/switch-device.ts";
import { TelescopeDevice, type TelescopeDeviceOptions } from "./alpaca/devices/telescope-device.ts";
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

/** How the Alpaca devices of a scene behave, where the standard leaves a choice. */
export interface SceneDeviceOptions {
  /** 7: Connect, DeviceState and all that came with them; 6: the interfaces before. Default 7. */
  readonly platform?: 6 | 7;
  /** How long Connect takes [s]. Default 0.2. */
  readonly connectSeconds?: number;
  readonly gainBy?: CameraDeviceOptions["gainBy"];
  /** Default `async`, on Platform 6 `both`. */
  readonly slews?: TelescopeDeviceOptions["slews"];
}

interface SceneDevice {
  indi(name: string, world: World): SimDevice;
  readonly alpaca: AlpacaRow;
}

type AlpacaRow = readonly [
  type: DeviceType,
  make: (
    identity: Identity,
    world: World,
    options: DeviceOptions,
    choices: SceneDeviceOptions,
  ) => SimAlpacaDevice,
];

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
const devices: Readonly<Record<keyof typeof sceneNames, SceneDevice>> = {
  camera: {
    indi: (name, world) => new CameraDevice(name, world, activeDevices),
    alpaca: [
      "Camera",
      (identity, world, options, { gainBy = "value" }) =>
        new AlpacaCamera(identity, world, { ...options, gainBy }),
    ],
  },
  mount: {
    indi: (name, world) => new MountDevice(name, world),
    alpaca: [
      "Telescope",
      (identity, world, options, { slews = options.platform === 7 ? "async" : "both" }) =>
        new TelescopeDevice(identity, world, { ...options, slews }),
    ],
  },
  cover: {
    indi: (name, world) => new CapDevice(name, world, "cover"),
    alpaca: [
      "CoverCalibrator",
      (identity, world, options) => new CoverDevice(identity, world, options, "cover"),
    ],
  },
  diffuser: {
    indi: (name, world) => new CapDevice(name, world, "diffuser"),
    alpaca: [
      "CoverCalibrator",
      (identity, world, options) => new CoverDevice(identity, world, options, "diffuser"),
    ],
  },
  focuser: {
    indi: (name, world) => new FocuserDevice(name, world),
    alpaca: ["Focuser", (identity, world, options) => new AlpacaFocuser(identity, world, options)],
  },
  wheel: {
    indi: (name, world) => new WheelDevice(name, world),
    alpaca: ["FilterWheel", (identity, world, options) => new AlpacaWheel(identity, world, options)],
  },
  rotator: {
    indi: (name, world) => new RotatorDevice(name, world),
    alpaca: ["Rotator", (identity, world, options) => new AlpacaRotator(identity, world, options)],
  },
  dome: {
    indi: (name, world) => new DomeDevice(name, world),
    alpaca: ["Dome", (identity, world, options) => new AlpacaDome(identity, world, options)],
  },
  weather: {
    indi: (name, world) => new WeatherDevice(name, world),
    alpaca: ["SafetyMonitor", (identity, world, options) => new SafetyDevice(identity, world, options)],
  },
};

const scene = Object.entries(sceneNames) as readonly [keyof typeof sceneNames, string][];

/** All devices of one rig, for an INDI server. */
export function indiDevices(world: World): SimDevice[] {
  return scene.map(([part, name]) => devices[part].indi(name, world));
}

/** All devices of one rig, for an Alpaca server. Their numbers are their order among those of the same type. */
export function alpacaDevices(world: World, choices: SceneDeviceOptions = {}): SimAlpacaDevice[] {
  const options = { platform: choices.platform ?? 7, connectSeconds: choices.connectSeconds ?? 0.2 };
  const numbers = new Map<DeviceType, number>();
  const made = (name: string, [type, make]: AlpacaRow) => {
    const number = numbers.get(type) ?? 0;
    numbers.set(type, number + 1);
    const identity = { type, number, name, uniqueId: uniqueId(world.spec.seed, type, number) };
    return make(identity, world, options, choices);
  };
  return [
    ...scene.map(([part, name]) => made(name, devices[part].alpaca)),
    made("Scene Station", [
      "ObservingConditions",
      (identity, world, options) => new ConditionsDevice(identity, world, options),
    ]),
    made("Scene Switches", [
      "Switch",
      (identity, world, options) => new SwitchDevice(identity, world, options),
    ]),
  ];
}
