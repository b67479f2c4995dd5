import type { World } from "../scene/world.ts";
import { CameraDevice, type CameraDeviceOptions } from "./devices/camera-device.ts";
import { ConditionsDevice } from "./devices/conditions-device.ts";
import { CoverDevice } from "./devices/cover-device.ts";
import { DomeDevice } from "./devices/dome-device.ts";
import { FocuserDevice } from "./devices/focuser-device.ts";
import { RotatorDevice } from "./devices/rotator-device.ts";
import { SafetyDevice } from "./devices/safety-device.ts";
import { SwitchDevice } from "./devices/switch-device.ts";
import { TelescopeDevice, type TelescopeDeviceOptions } from "./devices/telescope-device.ts";
import { WheelDevice } from "./devices/wheel-device.ts";
import type { DeviceType, Identity, SimAlpacaDevice } from "./sim-alpaca-device.ts";
import { uniqueId } from "./unique-id.ts";

/** How the devices of a scene behave on the wire, where the standard leaves a choice. */
export interface SceneDeviceOptions {
  /** 7: Connect, DeviceState and all that came with them; 6: the interfaces before. Default 7. */
  readonly platform?: 6 | 7;
  /** How long Connect takes [s]. Default 0.2. */
  readonly connectSeconds?: number;
  readonly gainBy?: CameraDeviceOptions["gainBy"];
  /** Default `async`, on Platform 6 `both`. */
  readonly slews?: TelescopeDeviceOptions["slews"];
}

/** All devices of one rig. Their numbers are their order among those of the same type. */
export function sceneDevices(world: World, options: SceneDeviceOptions = {}): SimAlpacaDevice[] {
  const platform = options.platform ?? 7;
  const common = { platform, connectSeconds: options.connectSeconds ?? 0.2 };
  const numbers = new Map<DeviceType, number>();
  const called = (type: DeviceType, name: string): Identity => {
    const number = numbers.get(type) ?? 0;
    numbers.set(type, number + 1);
    return { type, number, name, uniqueId: uniqueId(world.spec.seed, type, number) };
  };
  const slews = options.slews ?? (platform === 7 ? "async" : "both");
  return [
    new CameraDevice(called("Camera", "Scene Camera"), world, {
      ...common,
      gainBy: options.gainBy ?? "value",
    }),
    new TelescopeDevice(called("Telescope", "Scene Mount"), world, { ...common, slews }),
    new CoverDevice(called("CoverCalibrator", "Scene Cover"), world, common, "cover"),
    new CoverDevice(called("CoverCalibrator", "Scene Diffuser"), world, common, "diffuser"),
    new FocuserDevice(called("Focuser", "Scene Focuser"), world, common),
    new WheelDevice(called("FilterWheel", "Scene Wheel"), world, common),
    new RotatorDevice(called("Rotator", "Scene Rotator"), world, common),
    new DomeDevice(called("Dome", "Scene Dome"), world, common),
    new SafetyDevice(called("SafetyMonitor", "Scene Weather"), world, common),
    new ConditionsDevice(called("ObservingConditions", "Scene Station"), world, common),
    new SwitchDevice(called("Switch", "Scene Switches"), world, common),
  ];
}
