import { DeviceLostError } from "../../kit/errors.ts";
import { type DeviceTools, KeptDevice } from "../../roles/kept-device.ts";
import { isSilence, NotConnectedError } from "../wire/errors.ts";
import type { AlpacaDevice } from "./device.ts";
import { connectDevice, disconnectDevice, isConnected } from "./device-connection.ts";

/** What every Alpaca role is made from. */
export interface RoleContext extends DeviceTools {
  readonly device: AlpacaDevice;
}

export type RoleTools = Pick<RoleContext, "device" | "clock" | "log">;

/** How long a server may take to come back before an operation gives up [s]. */
const comeBackSeconds = 30;

/** A role on an Alpaca device: lost when a request finds no answer or no connection, or its server was started anew. */
export abstract class AlpacaRole extends KeptDevice {
  protected readonly device: AlpacaDevice;
  #lostCount = 0;

  constructor(context: RoleContext) {
    super(context.device.name, context);
    this.device = context.device;
  }

  /** Reads what the device can do, after each connecting. Changes nothing. */
  protected abstract readFacts(signal: AbortSignal): Promise<void>;

  protected override isConnected(signal: AbortSignal): Promise<boolean> {
    return isConnected(this.device, signal);
  }

  protected override get wasLost(): boolean {
    return this.device.lostCount !== this.#lostCount;
  }

  protected override get seenSinceSeconds(): number {
    return this.device.server.reach.returnedSeconds;
  }

  protected override async connect(signal: AbortSignal, seen?: boolean): Promise<void> {
    this.#lostCount = this.device.lostCount;
    await this.connectAll(signal, seen);
    await this.readFacts(signal);
  }

  /** A role that hangs on a second device connects that too. */
  protected async connectAll(signal: AbortSignal, seen?: boolean): Promise<void> {
    await connectDevice(this.device, signal, seen);
  }

  protected override async disconnect(signal: AbortSignal, seen?: boolean): Promise<void> {
    await disconnectDevice(this.device, signal, seen);
  }

  /** Devices that others watch as well are never disconnected to mend an error. */
  protected get mayDisconnect(): boolean {
    return true;
  }

  protected override leavesMoving(error: unknown): boolean {
    return isSilence(error);
  }

  protected override async bringBack(
    connectOnce: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<void> {
    try {
      await this.#untilConnected(connectOnce, signal);
    } catch (error) {
      if (!(error instanceof NotConnectedError) || !this.mayDisconnect) throw error;
      await this.#fromDisconnected(connectOnce, signal);
    }
  }

  /** A server may call a device connected that was switched off and on again. */
  async #fromDisconnected(
    connectOnce: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<void> {
    if (this.mayDisconnect) await this.disconnect(signal);
    await this.#untilConnected(connectOnce, signal);
  }

  async #untilConnected(
    connectOnce: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<void> {
    await this.device.server.reach.untilFound(this.name, signal);
    await this.device.until(
      "the device's return",
      { withinSeconds: 4 * comeBackSeconds, silenceSecondsMax: comeBackSeconds },
      async (abort) => {
        await connectOnce(abort);
        return true;
      },
      signal,
    );
  }

  /**
   * Work that may be done twice without harm (reading, or bringing into a state): if the device is lost in its
   * middle, it is connected again and the work done once more.
   */
  protected override async recovering<T>(work: () => Promise<T>, signal: AbortSignal): Promise<T> {
    await this.ready(signal);
    for (let attempt = 1; ; attempt++) {
      try {
        return await work();
      } catch (error) {
        signal.throwIfAborted();
        const isLost = error instanceof DeviceLostError;
        if (!isLost || attempt === 3 || (attempt === 2 && !(error instanceof NotConnectedError))) throw error;
        if (attempt === 1) await this.connectAgain(signal);
        else
          await this.connectAgain(signal, (connectOnce, abort) => this.#fromDisconnected(connectOnce, abort));
      }
    }
  }

  override get roundTripSeconds(): number {
    return this.device.roundTripSeconds;
  }

  protected get tools(): RoleTools {
    return { device: this.device, clock: this.clock, log: this.log };
  }

  /** Carries out a motion that brings the device into a state, and stops it if that fails in a way that leaves it moving. */
  protected async moveOrStop(
    bringTo: () => Promise<void>,
    stop: (signal: AbortSignal) => Promise<void>,
    signal: AbortSignal,
  ): Promise<void> {
    await this.ready(signal);
    await this.stoppedIfFailed(() => this.recovering(bringTo, signal), stop, signal);
  }
}
