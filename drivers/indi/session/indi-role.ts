import { DeadlineError, DeviceLostError, MissingAbilityError } from "../../kit/errors.ts";
import { type DeviceTools, KeptDevice } from "../../roles/kept-device.ts";
import type { IndiDevice } from "./device.ts";
import { connectDevice, disconnectDevice, isSwitchedOn } from "./device-connection.ts";

/** What every INDI role is made from. */
export interface RoleContext extends DeviceTools {
  readonly device: IndiDevice;
}

export type RoleTools = Pick<RoleContext, "device" | "clock" | "log">;

/**
 * A role on an INDI device: connected by CONNECTION, lost when its driver, its server or the link goes.
 * A role names the properties that it cannot do without; everything else is used if it is there.
 */
export abstract class IndiRole extends KeptDevice {
  /** Proof that the driver lives: the property that is read anew. */
  protected abstract readonly mainProperty: string;
  protected abstract readonly requiredProperties: readonly string[];
  protected readonly device: IndiDevice;
  #lostCount = 0;

  constructor(context: RoleContext) {
    super(context.device.name, context);
    this.device = context.device;
    context.device.onForeignCommand(({ name, values }) => {
      if (changesNothing(name, values)) return;
      const elements = Object.entries(values).map(([element, value]) => `${element}=${value}`);
      const { serverName } = context.device.wires;
      this.foreignCommands.note(`another client of ${serverName} commanded ${name} to ${elements.join(" ")}`);
    });
  }

  override async open(signal: AbortSignal): Promise<this> {
    await this.device.require(["CONNECTION"], { withinSeconds: 10 }, signal).catch((error: unknown) => {
      throw error instanceof MissingAbilityError && !this.device.known ? this.#absence() : error;
    });
    return super.open(signal);
  }

  /** Names that differ by a letter are found by seeing those that there are. */
  #absence(): DeviceLostError {
    const { serverName, deviceNames } = this.device.wires;
    const names = deviceNames().map((name) => JSON.stringify(name));
    const has = names.length === 0 ? "it has told of no device at all" : `it has ${names.join(", ")}`;
    return new DeviceLostError(this.name, `${serverName} has no device of this name; ${has}`);
  }

  protected override async isConnected(): Promise<boolean> {
    return isSwitchedOn(this.device);
  }

  protected override get isReached(): boolean {
    return this.has("CONNECTION");
  }

  protected override get wasLost(): boolean {
    return !isSwitchedOn(this.device) || this.device.lostCount !== this.#lostCount;
  }

  protected override get seenSinceSeconds(): number {
    return this.device.lastDefinedSeconds;
  }

  protected override async connect(signal: AbortSignal): Promise<void> {
    await this.device.wires.reach.untilFound(this.name, signal);
    this.#lostCount = this.device.lostCount;
    await this.device.require(["CONNECTION"], { withinSeconds: 30 }, signal);
    await connectDevice(this.device, signal);
    // Some drivers define their properties seconds after CONNECT; `require` asks again by name and then lists what is missing.
    await this.device.require(this.requiredProperties, { withinSeconds: 15 }, signal);
  }

  protected override disconnect(signal: AbortSignal): Promise<void> {
    return disconnectDevice(this.device, signal);
  }

  protected override leavesMoving(error: unknown): boolean {
    return error instanceof DeadlineError;
  }

  protected override async ping(signal: AbortSignal): Promise<void> {
    if (!isSwitchedOn(this.device)) throw new Error("not connected");
    await this.device.refresh(this.mainProperty, {}, signal);
  }

  /** By the property's standard names: the definition may be gone with the link, while the driver goes on. */
  protected sendSwitches(
    property: string,
    switches: Readonly<Record<string, boolean>>,
    signal: AbortSignal,
  ): Promise<void> {
    return this.sendUnasked(async (abort) => {
      if (!this.wasLost && !this.has(property)) {
        throw new MissingAbilityError(this.name, `does not offer ${property}`);
      }
      await this.device.sendUnasked(property, switches, abort);
    }, signal);
  }

  override get roundTripSeconds(): number {
    return this.device.roundTripSeconds;
  }

  protected get tools(): RoleTools {
    return { device: this.device, clock: this.clock, log: this.log };
  }

  protected has(property: string): boolean {
    return this.device.property(property) !== undefined;
  }
}

/** What concerns only the driver's own words and pace, and connecting what is connected, which every client does. */
function changesNothing(property: string, values: Readonly<Record<string, string>>): boolean {
  if (property === "CONNECTION") return values.CONNECT === "On";
  return /^(?:DEBUG|LOG|POLLING_PERIOD$|WEATHER_REFRESH$)/.test(property);
}
