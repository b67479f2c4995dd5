import type { ClockTimer } from "../../drivers/kit/clock.ts";
import type { World } from "../scene/world.ts";
import { AscomError } from "./ascom-error.ts";
import {
  type ElementType,
  type HeldImage,
  imageBytesReply,
  imageErrorReply,
  imageJsonReply,
} from "./image.ts";
import { managementReply } from "./management.ts";
import { BadRequestError, RequestParameters, type Verb } from "./parameters.ts";
import { jsonReply, type SimReply, type SimRequest, textReply } from "./reply.ts";
import { setupReply } from "./setup-pages.ts";
import type { SimAlpacaDevice } from "./sim-alpaca-device.ts";

/** What stands between the devices and their clients, for faults: changes a reply, holds it back, or loses it. */
export type ReplyFilter = (request: SimRequest, reply: () => Promise<SimReply>) => Promise<SimReply>;

/** Members of PUT that answer with a value. */
const valued: ReadonlySet<string> = new Set(["action", "commandbool", "commandstring"]);

/** Serves devices to any number of clients, whatever carries the requests: HTTP or memory. */
export class SimAlpacaServer {
  /** As which element type images leave; JSON is for clients that ask for nothing else. */
  elementType: ElementType = "smallest";
  readonly #filters = new Set<ReplyFilter>();
  #transactionId = 0;
  #downUntil: ClockTimer | undefined;
  readonly #downListeners = new Set<() => void>();

  constructor(
    readonly world: World,
    readonly devices: readonly SimAlpacaDevice[],
  ) {
    for (const device of devices)
      world.addSettings(`${device.identity.name} (Alpaca)`, () => device.settings());
  }

  /** Nothing listens. */
  get isDown(): boolean {
    return this.#downUntil !== undefined;
  }

  /** Any device of the server by its type in lower case. */
  device(type: string, number: number): SimAlpacaDevice | undefined {
    return this.devices.find(({ identity: i }) => i.type.toLowerCase() === type && i.number === number);
  }

  /** @returns how to take the filter away again */
  addFilter(filter: ReplyFilter): () => void {
    this.#filters.add(filter);
    return () => this.#filters.delete(filter);
  }

  /** Called whenever the server goes down, with every link of it. @returns how to stop that */
  onDown(listener: () => void): () => void {
    this.#downListeners.add(listener);
    return () => this.#downListeners.delete(listener);
  }

  /** Goes down with all that its devices had under way, and comes back with nobody connected and new numbers. */
  restart(downSeconds: number): void {
    for (const device of this.devices) device.die();
    this.#transactionId = 0;
    this.takeDown(downSeconds);
  }

  /** Breaks all links and takes no new one for so long; its devices go on. */
  takeDown(seconds: number): void {
    this.#downUntil?.cancel();
    this.#downUntil = this.world.clock.setTimer(seconds, () => this.comeBack());
    for (const tell of this.#downListeners) tell();
  }

  /** Takes links again. */
  comeBack(): void {
    this.#downUntil?.cancel();
    this.#downUntil = undefined;
  }

  close(): void {
    this.#downUntil?.cancel();
    for (const device of this.devices) device.die();
  }

  async answer(request: SimRequest): Promise<SimReply> {
    let reply = () => this.#plainly(request);
    for (const filter of this.#filters) {
      const inner = reply;
      reply = () => filter(request, inner);
    }
    return reply();
  }

  async #plainly(request: SimRequest): Promise<SimReply> {
    const { method, path } = request;
    if (path === "/setup" || path.startsWith("/setup/")) return setupReply(this.devices, request);
    if (method !== "GET" && method !== "PUT") return textReply(405, "only GET and PUT are known here");
    try {
      const brought = new RequestParameters(method, method === "GET" ? request.query : request.form);
      brought.id("ClientID");
      const ids = {
        ClientTransactionID: brought.id("ClientTransactionID"),
        ServerTransactionID: this.#nextId(),
      };
      if (path.startsWith("/management/")) return managementReply(this.devices, request, ids);
      return await this.#ask(method, request, brought, ids);
    } catch (error) {
      if (error instanceof BadRequestError) return textReply(400, error.message);
      throw error;
    }
  }

  /** Counts from 1 and leaves out 0, which would mean that none is given. */
  #nextId(): number {
    this.#transactionId = this.#transactionId >= 2 ** 32 - 1 ? 1 : this.#transactionId + 1;
    return this.#transactionId;
  }

  async #ask(
    verb: Verb,
    request: SimRequest,
    brought: RequestParameters,
    ids: { readonly ClientTransactionID: number; readonly ServerTransactionID: number },
  ): Promise<SimReply> {
    // Every part in lower case, and nothing after the member (reference, URL format).
    const [, type, number, member] = /^\/api\/v1\/([a-z]+)\/(\d{1,10})\/([a-z]+)$/.exec(request.path) ?? [];
    if (type === undefined || member === undefined) throw new BadRequestError(`${request.path} is no member`);
    const device = this.device(type, Number(number));
    if (!device) throw new BadRequestError(`there is no ${type} ${number}`);
    if (verb === "PUT") this.world.noteCommand(device.identity.name, member);
    const asBytes =
      member === "imagearray" && request.accept.toLowerCase().includes("application/imagebytes");
    try {
      const value = await device.ask(verb, member, brought);
      if (member === "imagearray") {
        const image = value as HeldImage;
        return asBytes ? imageBytesReply(image, this.elementType, ids) : imageJsonReply(image, ids);
      }
      const given = verb === "GET" || valued.has(member) ? { Value: value } : {};
      return jsonReply({ ...given, ...ids, ErrorNumber: 0, ErrorMessage: "" });
    } catch (error) {
      if (!(error instanceof AscomError)) throw error;
      if (asBytes) return imageErrorReply(error, ids);
      return jsonReply({ ...ids, ErrorNumber: error.errorNumber, ErrorMessage: error.message });
    }
  }
}
