import type { ClockTimer } from "../../drivers/kit/clock.ts";
import type { World } from "../scene/world.ts";
import { AscomError, notConnected, notImplemented } from "./ascom-error.ts";
import { MemberTable } from "./member-table.ts";
import { BadRequestError, type RequestParameters, type Verb } from "./parameters.ts";

/** The ten device types of the standard, as configureddevices writes them. */
export type DeviceType =
  | "Camera"
  | "CoverCalibrator"
  | "Dome"
  | "FilterWheel"
  | "Focuser"
  | "ObservingConditions"
  | "Rotator"
  | "SafetyMonitor"
  | "Switch"
  | "Telescope";

/** Interface versions: of Platform 7 with Connect and DeviceState, and the last ones before. */
const interfaceVersions: Readonly<Record<DeviceType, { readonly 6: number; readonly 7: number }>> = {
  Camera: { 6: 3, 7: 4 },
  CoverCalibrator: { 6: 1, 7: 2 },
  Dome: { 6: 2, 7: 3 },
  FilterWheel: { 6: 2, 7: 3 },
  Focuser: { 6: 3, 7: 4 },
  ObservingConditions: { 6: 1, 7: 2 },
  Rotator: { 6: 3, 7: 4 },
  SafetyMonitor: { 6: 1, 7: 3 },
  Switch: { 6: 2, 7: 3 },
  Telescope: { 6: 3, 7: 4 },
};

export interface Identity {
  readonly type: DeviceType;
  readonly number: number;
  readonly name: string;
  readonly uniqueId: string;
}

export interface DeviceOptions {
  /** Which generation of the interfaces it speaks. */
  readonly platform: 6 | 7;
  /** How long connecting takes [s]; 0: it is done before the command is answered. */
  readonly connectSeconds: number;
  /** Whether gain is given as a value or as the index into a list. */
  readonly gainBy: "value" | "index";
  /** Whether slews answer at once, only at their end, or either way; Platform 7 knows only the first. */
  readonly slews: "async" | "sync" | "both";
}

/**
 * One Alpaca device. The members that all have stand here, those of its type in the class that extends it; one that is
 * optional and left out answers 0x400, one that does not exist HTTP 400.
 */
export abstract class SimAlpacaDevice {
  protected readonly members = new MemberTable();
  readonly #options: DeviceOptions;
  #connected = false;
  #pending: ClockTimer | undefined;

  constructor(
    readonly identity: Identity,
    protected readonly world: World,
    options: DeviceOptions,
    readonly description: string,
  ) {
    this.#options = options;
    const { members } = this;
    const facts = {
      name: identity.name,
      description,
      driverinfo: `Simulated ${identity.type} of a scene`,
      driverversion: "1.0",
      interfaceversion: interfaceVersions[identity.type][options.platform],
      supportedactions: [],
    };
    for (const [name, value] of Object.entries(facts)) members.always("GET", name, {}, () => value);
    members.always("PUT", "action", { Action: "text", Parameters: "text" }, () => {
      throw notImplemented("every action");
    });
    for (const command of ["commandblind", "commandbool", "commandstring"]) {
      members.always("PUT", command, { Command: "text", Raw: "boolean" }, () => {
        throw notImplemented(command);
      });
    }
    members.always("GET", "connected", {}, () => this.#connected);
    members.always("PUT", "connected", { Connected: "boolean" }, ({ Connected }) => {
      this.#endPending();
      this.#setConnected(Connected);
    });
    if (!this.isNew) return;
    members.always("PUT", "connect", {}, () => this.#begin(true));
    members.always("PUT", "disconnect", {}, () => this.#begin(false));
    members.always("GET", "connecting", {}, () => this.#pending !== undefined);
    members.reads("devicestate", () =>
      Object.entries({ ...this.state(), TimeStamp: new Date(world.clock.nowMs()).toISOString() }).map(
        ([Name, Value]) => ({ Name, Value }),
      ),
    );
  }

  /** Whether it speaks the interfaces of Platform 7. */
  protected get isNew(): boolean {
    return this.#options.platform === 7;
  }

  get connected(): boolean {
    return this.#connected;
  }

  /** The names of what changes by itself, in the interface's casing: DeviceState tells those that can be read now. */
  protected abstract readonly stateNames: readonly string[];

  protected state(): Record<string, unknown> {
    const values: Record<string, unknown> = {};
    for (const name of this.stateNames) {
      try {
        values[name] = this.members.find("GET", name.toLowerCase())?.act({} as never);
      } catch (error) {
        if (!(error instanceof AscomError)) throw error;
      }
    }
    return values;
  }

  /** Settings that this side keeps itself, for the world's account. */
  settings(): Record<string, unknown> {
    return { CONNECTION: this.#connected };
  }

  /** Carries a request out. @throws AscomError, BadRequestError */
  async ask(verb: Verb, name: string, brought: RequestParameters): Promise<unknown> {
    const member = this.members.find(verb, name);
    const { type } = this.identity;
    if (!member) throw new BadRequestError(`${type} has no ${verb} ${name}`);
    const given = brought.read(member.kinds);
    if (member.whenConnected && !this.#connected) throw notConnected(this.identity.name);
    return await member.act(given as never);
  }

  /** Its server ends: what it ran itself ends, and nobody is connected. */
  die(): void {
    this.#endPending();
    this.#setConnected(false);
  }

  protected whenDisconnected(): void {}

  #begin(wanted: boolean): void {
    this.#endPending();
    if (wanted === this.#connected) return;
    if (this.#options.connectSeconds === 0) {
      this.#setConnected(wanted);
      return;
    }
    this.#pending = this.world.clock.setTimer(this.#options.connectSeconds, () => {
      this.#pending = undefined;
      this.#setConnected(wanted);
    });
  }

  #endPending(): void {
    this.#pending?.cancel();
    this.#pending = undefined;
  }

  #setConnected(connected: boolean): void {
    if (connected === this.#connected) return;
    if (!connected) this.whenDisconnected();
    this.#connected = connected;
  }
}
