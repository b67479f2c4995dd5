import * as z from "zod";
import { DeviceLostError, RefusedError } from "../../kit/errors.ts";
import { deadlineOver, RoundTrip } from "../../kit/round-trip.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { HttpStatusError, NotImplementedError } from "../wire/errors.ts";
import type { DecodedImage } from "../wire/image-bytes.ts";
import type { ListedDevice } from "../wire/management.ts";
import type { Parameters } from "../wire/parameters.ts";
import type { AlpacaServer } from "../wire/server.ts";
import { Turns } from "../wire/turns.ts";
import { flag } from "../wire/values.ts";
import { type WaitOptions, waitUntil } from "./wait-until.ts";

/** A read answers at once; a device on a slow serial line gets this much [s]. */
const readSeconds = 10;
/** A command starts something and answers; old drivers answer when it is done, see `withinSeconds` [s]. */
const commandSeconds = 30;

const stateMember = "devicestate";
const stateValue = z.array(z.object({ Name: z.string(), Value: z.unknown().optional() }));

type LookOptions = Omit<WaitOptions, "clock" | "device" | "what">;

/** The values of a device's state in one reply, by their names in the interface's casing. */
export type DeviceState = ReadonlyMap<string, unknown>;

/**
 * One device of a server: its members by their names in lower case. One request at a time, in the order asked,
 * because small servers and serial lines take no more; of a slow one several reads, and each command by itself.
 */
export class AlpacaDevice {
  readonly name: string;
  readonly type: string;
  readonly number: number;
  readonly server: AlpacaServer;
  readonly #reads: RoundTrip;
  readonly #absent = new Set<string>();
  readonly #turns: Turns;
  #lostCount = 0;

  constructor(server: AlpacaServer, listed: Pick<ListedDevice, "name" | "type" | "number">) {
    this.server = server;
    this.#turns = new Turns({ quick: 1, slow: 12 }, server.turns.isSlow);
    this.#reads = new RoundTrip(server.clock);
    this.name = listed.name;
    this.type = listed.type;
    this.number = listed.number;
  }

  /** Grows whenever the link failed, the device said that it is not connected, or its server restarted. */
  get lostCount(): number {
    return this.#lostCount + this.server.restartCount;
  }

  /** What might be needed is worth asking for beside what is. */
  get isSlow(): boolean {
    return this.server.turns.isSlow;
  }

  /** Of reads, without the time that they wait for their turn [s]. */
  get roundTripSeconds(): number {
    return this.#reads.seconds;
  }

  get #readSeconds(): number {
    return deadlineOver(this.roundTripSeconds, readSeconds);
  }

  get<T>(member: string, schema: z.ZodType<T>, signal: AbortSignal, parameters?: Parameters): Promise<T> {
    return this.#ask("GET", member, schema, signal, { parameters, withinSeconds: this.#readSeconds });
  }

  /** Past the queue: whether the device answers must not depend on what it is still busy with. */
  probe<T>(member: string, schema: z.ZodType<T>, signal: AbortSignal, parameters?: Parameters): Promise<T> {
    return this.#ask("GET", member, schema, signal, {
      parameters,
      withinSeconds: this.#readSeconds,
      urgent: true,
    });
  }

  /**
   * An optional member: `undefined` when the device does not have it, asked for once and remembered.
   * An outright refusal of the request (HTTP 400 and its like) counts as absence too; it is a common mistake.
   */
  async optional<T>(
    member: string,
    schema: z.ZodType<T>,
    signal: AbortSignal,
    parameters: Parameters = {},
  ): Promise<T | undefined> {
    const key = [member, ...Object.values(parameters)].join(" ");
    if (this.#absent.has(key)) return undefined;
    try {
      return await this.get(member, schema, signal, parameters);
    } catch (error) {
      if (!isAbsence(error)) throw error;
      this.#absent.add(key);
      return undefined;
    }
  }

  /** What was found absent may be there after another connecting: a bridge shows its device only then. */
  forgetAbsences(): void {
    this.#absent.clear();
  }

  /**
   * @param options.urgent goes out at once, past a request that hangs: for stops
   * @param options.withinSeconds longer where an old driver answers only when the motion has ended
   */
  async put(
    member: string,
    parameters: Parameters,
    signal: AbortSignal,
    options: { urgent?: boolean; withinSeconds?: number } = {},
  ): Promise<void> {
    await this.#ask("PUT", member, z.unknown(), signal, {
      parameters,
      withinSeconds: options.withinSeconds ?? commandSeconds,
      urgent: options.urgent === true,
    });
  }

  /** Whether the device claims an ability: a flag that may be absent. */
  async can(member: string, signal: AbortSignal, parameters?: Parameters): Promise<boolean> {
    return (await this.optional(member, flag, signal, parameters)) ?? false;
  }

  /** `waitUntil` for this device. */
  until<T>(
    what: string,
    options: LookOptions,
    look: (signal: AbortSignal) => Promise<T | undefined>,
    signal: AbortSignal,
  ): Promise<T> {
    return waitUntil({ clock: this.server.clock, device: this.name, what, ...options }, look, signal);
  }

  /** Waits until a flag such as `ismoving` is off. */
  async untilOff(what: string, member: string, options: LookOptions, signal: AbortSignal): Promise<void> {
    const look = async (abort: AbortSignal) => ((await this.get(member, flag, abort)) ? undefined : true);
    await this.until(what, options, look, signal);
  }

  /** Ends a motion at once, where the device has that command. */
  async halt(signal: AbortSignal): Promise<void> {
    await this.put("halt", {}, signal, { urgent: true }).catch((error: unknown) => {
      if (!isAbsence(error)) throw error;
    });
  }

  /**
   * All operational values at once, where the interface is new enough. A driver that fails at it is not asked again: each
   * value can be read by itself.
   */
  async state(signal: AbortSignal): Promise<DeviceState | undefined> {
    try {
      const values = await this.optional(stateMember, stateValue, signal);
      return values && new Map(values.map(({ Name, Value }) => [Name, Value]));
    } catch (error) {
      if (!(error instanceof RefusedError)) throw error;
      this.server.log.warn({ device: this.name, error: String(error) }, "its values are read one by one");
      this.#absent.add(stateMember);
      return undefined;
    }
  }

  image(maxAdu: number, withinSeconds: number, signal: AbortSignal): Promise<DecodedImage> {
    return this.#watching(() =>
      this.#inTurn(
        () =>
          this.server.image(
            {
              path: this.#path("imagearray"),
              device: this.name,
              member: "imagearray",
              withinSeconds,
              signal,
            },
            maxAdu,
          ),
        true,
        signal,
      ),
    );
  }

  #path(member: string): string {
    return `/api/v1/${this.type}/${this.number}/${member}`;
  }

  #ask<T>(
    method: "GET" | "PUT",
    member: string,
    schema: z.ZodType<T>,
    signal: AbortSignal,
    options: { parameters: Parameters | undefined; withinSeconds: number; urgent?: boolean },
  ): Promise<T> {
    const { parameters, withinSeconds, urgent } = options;
    const send = () =>
      this.server.ask({
        method,
        path: this.#path(member),
        device: this.name,
        member,
        parameters,
        schema,
        withinSeconds,
        signal,
      });
    // A command may be answered only when its motion has ended.
    const ask = method === "GET" ? () => this.#timed(() => this.#reads.measure(send)) : send;
    const alone = method === "PUT";
    return this.#watching(() => (urgent ? ask() : this.#inTurn(ask, alone, signal)));
  }

  async #timed<T>(read: () => Promise<T>): Promise<T> {
    const elapsedSeconds = startStopwatch(this.server.clock);
    const answer = await read();
    this.#turns.note(elapsedSeconds());
    return answer;
  }

  async #watching<T>(work: () => Promise<T>): Promise<T> {
    try {
      return await work();
    } catch (error) {
      if (error instanceof DeviceLostError) this.#lostCount++;
      throw error;
    }
  }

  #inTurn<T>(work: () => Promise<T>, alone: boolean, signal: AbortSignal): Promise<T> {
    const { turns } = this.server;
    return this.#turns.take(() => turns.take(work, { alone: false }, signal), { alone }, signal);
  }
}

/** Says no for good: a member that this device does not have. */
export function isAbsence(error: unknown): boolean {
  return (
    error instanceof NotImplementedError ||
    (error instanceof HttpStatusError && error.status >= 400 && error.status < 500)
  );
}
