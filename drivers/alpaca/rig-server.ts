import { DeviceLostError } from "../kit/errors.ts";
import type { DeviceTools, KeptDevice } from "../roles/kept-device.ts";
import type { RoleName } from "../roles/roles.ts";
import { type AlpacaEntry, makerOf, typesFor } from "./role-table.ts";
import { AlpacaDevice } from "./session/device.ts";
import { type ListedDevice, listDevices } from "./wire/management.ts";
import type { AlpacaServer } from "./wire/server.ts";

/** The devices of one server by the names that a rig file uses, each made once. */
export class AlpacaRigServer {
  readonly #devices = new Map<string, AlpacaDevice>();
  #listed: readonly ListedDevice[] = [];

  constructor(
    readonly server: AlpacaServer,
    readonly tools: Pick<DeviceTools, "clock" | "log">,
  ) {}

  /** Asks which devices there are. @throws DeviceLostError and what else `listDevices` throws */
  async open(signal: AbortSignal): Promise<void> {
    this.#listed = await listDevices(this.server, signal);
  }

  deviceNames(): readonly string[] {
    return this.#listed.map(listedName);
  }

  /** A role that still has to be opened. @throws DeviceLostError naming what the server has instead */
  role(role: RoleName, entry: AlpacaEntry, own: Pick<DeviceTools, "ownsConnection" | "found">): KeptDevice {
    const device = this.#device(entry.device, typesFor(role, entry));
    const find = (wanted: string, types: readonly string[]) => this.#device(wanted, types);
    return makerOf(role)({ device, ...this.tools, ...own }, entry, find);
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
    const names = fitting.map(listedName);
    const kind = types.join(" or ");
    return `${this.server.name} has no ${kind} of this name; ${names.length === 0 ? `it has no ${kind} at all` : `it has ${names.join(", ")}`}`;
  }
}

function isCalled(listed: ListedDevice, wanted: string): boolean {
  return listed.name === wanted || `${listed.type}/${listed.number}` === wanted.toLowerCase();
}

function listedName({ type, number, name }: ListedDevice): string {
  return `${type}/${number} "${name}"`;
}
