import type { Clock } from "../kit/clock.ts";
import { DeviceLostError, MissingAbilityError } from "../kit/errors.ts";
import type { Log } from "../kit/log.ts";
import type { RoleName } from "../roles/device.ts";
import { AlpacaCamera } from "./roles/camera.ts";
import type { CameraOptions } from "./roles/camera-limits.ts";
import { AlpacaCover } from "./roles/cover.ts";
import { AlpacaDome, type DomeOptions } from "./roles/dome.ts";
import { AlpacaFocuser, type FocuserOptions } from "./roles/focuser.ts";
import { AlpacaMount, type MountOptions } from "./roles/mount.ts";
import { AlpacaRotator } from "./roles/rotator.ts";
import { AlpacaSwitchCover } from "./roles/switch-cover.ts";
import { AlpacaWeather } from "./roles/weather.ts";
import type { WeatherLimits } from "./roles/weather-judgement.ts";
import { AlpacaWheel } from "./roles/wheel.ts";
import type { AlpacaRole, RoleContext } from "./session/alpaca-role.ts";
import { AlpacaDevice } from "./session/device.ts";
import { type ListedDevice, listDevices } from "./wire/management.ts";
import type { AlpacaServer } from "./wire/server.ts";

/** What the rig file says of a device on an Alpaca server. */
export interface AlpacaEntry extends CameraOptions, MountOptions, FocuserOptions, DomeOptions, WeatherLimits {
  /** A device's name as its server lists it, or its type and number: `camera/0`. */
  readonly device: string;
  /** Cover and diffuser: longest time for one way [s]. */
  readonly travelSecondsMax?: number;
  /** Cover and diffuser: the switch of a Switch device that moves it, by name or number. */
  readonly switch?: string | number;
  readonly closedValue?: number;
  /** Weather: an ObservingConditions device beside the SafetyMonitor. */
  readonly conditions?: string;
}

const monitorType = "safetymonitor";
const stationType = "observingconditions";

/** Device types that can carry a role, the preferred one first. */
const typesOf: Readonly<Record<RoleName, readonly string[]>> = {
  camera: ["camera"],
  mount: ["telescope"],
  focuser: ["focuser"],
  cover: ["covercalibrator"],
  diffuser: ["covercalibrator"],
  wheel: ["filterwheel"],
  rotator: ["rotator"],
  dome: ["dome"],
  weather: [monitorType, stationType],
};

/** The devices of one server by the names that a rig file uses, each made once. */
export class AlpacaRigServer {
  readonly #devices = new Map<string, AlpacaDevice>();
  #listed: readonly ListedDevice[] = [];

  constructor(
    readonly server: AlpacaServer,
    readonly clock: Clock,
    readonly log: Log,
  ) {}

  /** Asks which devices there are. @throws DeviceLostError and what else `listDevices` throws */
  async open(signal: AbortSignal): Promise<void> {
    this.#listed = await listDevices(this.server, signal);
  }

  /** A role that still has to be opened. @throws DeviceLostError naming what the server has instead */
  role(role: RoleName, entry: AlpacaEntry, tools: Pick<RoleContext, "ownsConnection" | "found">): AlpacaRole {
    const types = entry.switch === undefined ? typesOf[role] : ["switch"];
    const device = this.#device(entry.device, types);
    const context: RoleContext = { device, clock: this.clock, log: this.log, ...tools };
    const { travelSecondsMax } = entry;
    const travel = travelSecondsMax === undefined ? {} : { travelSecondsMax };
    switch (role) {
      case "camera":
        return new AlpacaCamera(context, entry);
      case "mount":
        return new AlpacaMount(context, entry);
      case "focuser":
        return new AlpacaFocuser(context, entry);
      case "cover":
      case "diffuser": {
        if (entry.switch === undefined) return new AlpacaCover(context, { role, ...travel });
        const closed = entry.closedValue === undefined ? {} : { closedValue: entry.closedValue };
        return new AlpacaSwitchCover(context, { role, switch: entry.switch, ...closed, ...travel });
      }
      case "wheel":
        return new AlpacaWheel(context);
      case "rotator":
        return new AlpacaRotator(context);
      case "dome":
        return new AlpacaDome(context, entry);
      case "weather":
        return new AlpacaWeather(context, this.#weatherDevices(device, entry), entry);
    }
  }

  #weatherDevices(device: AlpacaDevice, entry: AlpacaEntry) {
    if (device.type === stationType) {
      if (entry.conditions === undefined) return { monitor: undefined, conditions: device };
      throw new MissingAbilityError(
        device.name,
        "`conditions` goes beside a safety monitor, and this is none",
      );
    }
    const conditions =
      entry.conditions === undefined ? undefined : this.#device(entry.conditions, [stationType]);
    return { monitor: device, conditions };
  }

  #device(wanted: string, types: readonly string[]): AlpacaDevice {
    const found = types
      .map((type) => this.#listed.find((one) => one.type === type && isCalled(one, wanted)))
      .find((one) => one !== undefined);
    if (!found) throw new DeviceLostError(wanted, this.#absence(types));
    const key = `${found.type}/${found.number}`;
    const device = this.#devices.get(key) ?? new AlpacaDevice(this.server, found);
    this.#devices.set(key, device);
    return device;
  }

  #absence(types: readonly string[]): string {
    const fitting = this.#listed.filter((one) => types.includes(one.type));
    const names = fitting.map((one) => `${one.type}/${one.number} "${one.name}"`);
    const kind = types.join(" or ");
    return `${this.server.name} has no ${kind} of this name; ${names.length === 0 ? `it has no ${kind} at all` : `it has ${names.join(", ")}`}`;
  }
}

function isCalled(listed: ListedDevice, wanted: string): boolean {
  return listed.name === wanted || `${listed.type}/${listed.number}` === wanted.toLowerCase();
}
