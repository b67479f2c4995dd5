import { MissingAbilityError } from "../kit/errors.ts";
import type { DeviceEntry } from "../protocol.ts";
import type { KeptDevice } from "../roles/kept-device.ts";
import { type DeviceOf, type RoleName, roleNames } from "../roles/roles.ts";
import { AlpacaCamera } from "./roles/camera.ts";
import type { CameraOptions } from "./roles/camera-limits.ts";
import { AlpacaCover } from "./roles/cover.ts";
import { AlpacaDome } from "./roles/dome.ts";
import { AlpacaFocuser } from "./roles/focuser.ts";
import { AlpacaMount } from "./roles/mount.ts";
import { AlpacaRotator } from "./roles/rotator.ts";
import { AlpacaSwitchCover } from "./roles/switch-cover.ts";
import { AlpacaWeather } from "./roles/weather.ts";
import type { WeatherLimits } from "./roles/weather-judgement.ts";
import { AlpacaWheel } from "./roles/wheel.ts";
import type { RoleContext } from "./session/alpaca-role.ts";
import type { AlpacaDevice } from "./session/device.ts";

/** What the rig file says of a device on an Alpaca server. */
export interface AlpacaEntry extends DeviceEntry, CameraOptions, WeatherLimits {
  /** A device's name as its server lists it, or its type and number: `camera/0`. */
  readonly device: string;
  /** Cover and diffuser: the switch of a Switch device that moves it, by name or number. */
  readonly switch?: string | number;
  readonly closedValue?: number;
  /** Weather: an ObservingConditions device beside the SafetyMonitor. */
  readonly conditions?: string;
}

/** Another device of the same server. @throws DeviceLostError naming what the server has instead */
type FindDevice = (wanted: string, types: readonly string[]) => AlpacaDevice;

interface RoleRow<R extends RoleName> {
  /** Device types that can carry the role, the preferred one first. */
  readonly types: readonly string[];
  make(context: RoleContext, entry: AlpacaEntry, find: FindDevice): KeptDevice & DeviceOf<R>;
}

const monitorType = "safetymonitor";
const stationType = "observingconditions";

/** What plays each role. */
const roleTable: { readonly [R in RoleName]: RoleRow<R> } = {
  camera: { types: ["camera"], make: (context, entry) => new AlpacaCamera(context, entry) },
  mount: { types: ["telescope"], make: (context, entry) => new AlpacaMount(context, entry) },
  focuser: { types: ["focuser"], make: (context, entry) => new AlpacaFocuser(context, entry) },
  cover: { types: ["covercalibrator"], make: (context, entry) => coverOf("cover", context, entry) },
  diffuser: { types: ["covercalibrator"], make: (context, entry) => coverOf("diffuser", context, entry) },
  wheel: { types: ["filterwheel"], make: (context) => new AlpacaWheel(context) },
  rotator: { types: ["rotator"], make: (context) => new AlpacaRotator(context) },
  dome: { types: ["dome"], make: (context, entry) => new AlpacaDome(context, entry) },
  weather: { types: [monitorType, stationType], make: weatherOf },
};

export const makerOf = (role: RoleName): RoleRow<RoleName>["make"] => roleTable[role].make;

export function typesFor(role: RoleName, entry: AlpacaEntry): readonly string[] {
  return entry.switch === undefined ? roleTable[role].types : ["switch"];
}

/** What a device of that type could be in a rig. */
export function rolesOfType(type: string): readonly RoleName[] {
  if (type === "switch") return ["diffuser", "cover"];
  return roleNames.filter((role) => roleTable[role].types.includes(type));
}

function coverOf(role: "cover" | "diffuser", context: RoleContext, entry: AlpacaEntry) {
  const { switch: wanted } = entry;
  if (wanted === undefined) return new AlpacaCover(context, { ...entry, role });
  return new AlpacaSwitchCover(context, { ...entry, role, switch: wanted });
}

function weatherOf(context: RoleContext, entry: AlpacaEntry, find: FindDevice): AlpacaWeather {
  const { device } = context;
  if (device.type !== stationType) {
    const conditions = entry.conditions === undefined ? undefined : find(entry.conditions, [stationType]);
    return new AlpacaWeather(context, { monitor: device, conditions }, entry);
  }
  if (entry.conditions === undefined)
    return new AlpacaWeather(context, { monitor: undefined, conditions: device }, entry);
  throw new MissingAbilityError(device.name, "`conditions` goes beside a safety monitor, and this is none");
}
