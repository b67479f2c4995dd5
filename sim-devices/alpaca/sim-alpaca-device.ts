import type { ClockTimer } from "../../drivers/kit/clock.ts";
import type { World } from "../scene/world.ts";
import { AscomError, notConnected, notImplemented } from "./ascom-error.ts";
import { type Arguments, BadRequestError, type Brought, type Kinds, type Verb } from "./parameters.ts";

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
  /** How long connecting takes [s]. */
  readonly connectSeconds: number;
}

interface Member {
  readonly kinds: Kinds;
  readonly whenConnected: boolean;
  readonly act: (given: never) => unknown;
}

/**
 * One Alpaca device: members by verb and name in lower case. The common ones stand here, those of its type in the
 * class that extends it; a member that is optional and left out answers 0x400, one that does not exist HTTP 400.
 */
export abstract class SimAlpacaDevice {
  readonly #members = new Map<string, Member>();
  readonly #options: DeviceOptions;
  #connected = false;
  #pending: { readonly wanted: boolean; readonly timer: ClockTimer } | undefined;

  constructor(
    readonly identity: Identity,
    protected readonly world: World,
    options: DeviceOptions,
    readonly description: string,
  ) {
    this.#options = options;
    const common = (verb: Verb, name: string, kinds: Kinds, act: (given: never) => unknown) =>
      this.#add(verb, name, { kinds, act, whenConnected: false });
    common("GET", "name", {}, () => identity.name);
    common("GET", "description", {}, () => description);
    common("GET", "driverinfo", {}, () => `Simulated ${identity.type} of a scene`);
    common("GET", "driverversion", {}, () => "1.0");
    common("GET", "interfaceversion", {}, () => interfaceVersions[identity.type][options.platform]);
    common("GET", "supportedactions", {}, () => []);
    common("PUT", "action", { Action: "text", Parameters: "text" }, () => {
      throw notImplemented("every action");
    });
    for (const command of ["commandblind", "commandbool", "commandstring"]) {
      common("PUT", command, { Command: "text", Raw: "boolean" }, () => {
        throw notImplemented(command);
      });
    }
    common("GET", "connected", {}, () => this.#connected);
    common("PUT", "connected", { Connected: "boolean" }, ({ Connected }: { Connected: boolean }) => {
      this.#endPending();
      this.#setConnected(Connected);
    });
    if (!this.isNew) return;
    common("PUT", "connect", {}, () => this.#begin(true));
    common("PUT", "disconnect", {}, () => this.#begin(false));
    common("GET", "connecting", {}, () => this.#pending !== undefined);
    this.reads("devicestate", () =>
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
        values[name] = this.#members.get(`GET ${name.toLowerCase()}`)?.act({} as never);
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
  async ask(verb: Verb, name: string, brought: Brought): Promise<unknown> {
    const member = this.#members.get(`${verb} ${name}`);
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

  protected reads(name: string, read: () => unknown): void {
    this.#add("GET", name, { kinds: {}, act: read, whenConnected: true });
  }
  protected readsWith<K extends Kinds>(name: string, kinds: K, read: (given: Arguments<K>) => unknown): void {
    this.#add("GET", name, { kinds, act: read as Member["act"], whenConnected: true });
  }
  /** @param act what it gives is no value of the reply; a promise holds the reply back */
  protected writes<K extends Kinds>(name: string, kinds: K, act: (given: Arguments<K>) => unknown): void {
    this.#add("PUT", name, { kinds, act: act as Member["act"], whenConnected: true });
  }
  /** Optional members that this device does without. */
  protected lacks(...names: readonly string[]): void {
    for (const name of names) this.reads(name, () => refuse(name));
  }
  protected lacksWrite(name: string, kinds: Kinds = {}): void {
    this.writes(name, kinds, () => refuse(name));
  }

  #add(verb: Verb, name: string, member: Member): void {
    this.#members.set(`${verb} ${name}`, member);
  }

  #begin(wanted: boolean): void {
    this.#endPending();
    if (wanted === this.#connected) return;
    const timer = this.world.clock.setTimer(this.#options.connectSeconds, () => {
      this.#pending = undefined;
      this.#setConnected(wanted);
    });
    this.#pending = { wanted, timer };
  }

  #endPending(): void {
    this.#pending?.timer.cancel();
    this.#pending = undefined;
  }

  #setConnected(connected: boolean): void {
    if (connected === this.#connected) return;
    if (!connected) this.whenDisconnected();
    this.#connected = connected;
  }
}

function refuse(name: string): never {
  throw notImplemented(name);
}
