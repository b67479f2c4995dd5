import type { z } from "zod";
import type { Clock } from "../../kit/clock.ts";
import { withDeadline } from "../../kit/deadline.ts";
import { DeadlineError, DeviceLostError } from "../../kit/errors.ts";
import { type HttpExchange, HttpLinkError, type HttpReply, type HttpRequest } from "../../kit/http-link.ts";
import type { Log } from "../../kit/log.ts";
import type { RigSeal } from "../../kit/seal.ts";
import { ServerReach } from "../../kit/server-reach.ts";
import { SpareMemory } from "../../kit/spare-memory.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { HttpStatusError, NotConnectedError } from "./errors.ts";
import { type DecodedImage, imageFromBytes } from "./image-bytes.ts";
import { imageFromJson } from "./image-json.ts";
import { encodeParameters, type Parameters } from "./parameters.ts";
import { type Asked, checkStatus, MixedUpReplyError, mediaType, readReply } from "./reply.ts";
import { ServerLookout } from "./server-lookout.ts";
import { TransactionIds } from "./transaction-ids.ts";
import { Turns } from "./turns.ts";

export interface AlpacaServerOptions {
  readonly exchange: HttpExchange;
  readonly clock: Clock;
  readonly log: Log;
  /** 1 to 65535. */
  readonly clientId: number;
  /** For messages: the server where no device is meant. */
  readonly name: string;
  /** While it is closed no device is commanded but to connect. Default: none. */
  readonly seal?: RigSeal;
}

export interface Ask<T> {
  readonly method: "GET" | "PUT";
  readonly path: string;
  /** Whose request it is, for messages. */
  readonly device: string;
  readonly member: string;
  readonly parameters?: Parameters | undefined;
  readonly schema: z.ZodType<T>;
  readonly withinSeconds: number;
  readonly signal: AbortSignal;
}

/** The one path that every server has. */
const apiVersionsPath = "/management/apiversions";
const connectingMembers: ReadonlySet<string> = new Set(["connect", "disconnect", "connected"]);
const attemptsMax = 3;
/** Times the attempt [s]. */
const repeatAfterSeconds = 0.3;
const imageBytesMax = 640 * 2 ** 20;
/** A server whose numbers keep going backwards does not count as the standard says: they mean nothing then. */
const restartsBelievedMax = 5;

/** One Alpaca server: requests with their numbers, deadlines on our clock, and replies checked. */
export class AlpacaServer implements AsyncDisposable {
  readonly name: string;
  readonly clock: Clock;
  readonly log: Log;
  /** What images are turned into. */
  readonly memory = new SpareMemory();
  readonly reach: ServerReach;
  /** Devices' requests; those past the queue take no part. Small servers have few sockets. */
  readonly turns = new Turns({ quick: 4, slow: 32 });
  readonly #lookout: ServerLookout;
  readonly #seal: RigSeal | undefined;
  readonly #exchange: HttpExchange;
  readonly #ids: TransactionIds;
  #serverTransactionId = 0;
  #restartCount = 0;
  /** Where the last image was received; the next one of its size goes there too. */
  #imageMemory: Uint8Array | undefined;

  constructor({ exchange, clock, log, clientId, name, seal }: AlpacaServerOptions) {
    this.#seal = seal;
    this.#exchange = exchange;
    this.#ids = new TransactionIds(clientId);
    this.clock = clock;
    this.reach = new ServerReach(clock);
    this.log = log;
    this.name = name;
    this.#lookout = new ServerLookout(name, clock, this.reach, (signal) => {
      const ids = this.#idsOf({ device: name, member: "apiversions", transactionId: this.#ids.next() });
      return exchange.exchange({
        method: "GET",
        path: apiVersionsPath,
        query: encodeParameters(ids),
        signal,
      });
    });
  }

  /** How often the server's own numbers began anew: it restarted, and its devices may have lost their settings. */
  get restartCount(): number {
    return this.#restartCount;
  }

  /**
   * A server that fails at a read or at connecting (HTTP 5xx) is asked a few times.
   * @throws DeviceLostError when no reply came (a read is asked for twice, a command never), DeadlineError,
   *   and whatever `readReply` throws
   */
  async ask<T>(ask: Ask<T>): Promise<T> {
    const changesDevice = ask.method === "PUT" && !connectingMembers.has(ask.member);
    if (changesDevice) this.#seal?.check(ask.device, ask.member);
    for (let attempt = 1; ; attempt++) {
      try {
        return await this.#askOnce(ask);
      } catch (error) {
        // What was asked twice moves nothing: a read, or connecting.
        const mayRepeat = !changesDevice && error instanceof HttpStatusError && error.status >= 500;
        if (!mayRepeat || attempt >= attemptsMax) throw error;
        await this.clock.sleep(attempt * repeatAfterSeconds, ask.signal);
      }
    }
  }

  async #askOnce<T>(ask: Ask<T>): Promise<T> {
    const { method, path, schema, parameters } = ask;
    return this.#send(ask, method === "GET", (asked) => {
      const encoded = encodeParameters({ ...parameters, ...this.#idsOf(asked) });
      return {
        request: { method, path, ...(method === "GET" ? { query: encoded } : { form: encoded }) },
        read: (reply) => readReply(reply, asked, schema),
      };
    });
  }

  /** An image, as bytes where the device can. @param maxAdu the camera's largest count */
  async image(
    ask: Omit<Ask<unknown>, "method" | "schema" | "parameters">,
    maxAdu: number,
  ): Promise<DecodedImage> {
    const into = this.#imageMemory;
    this.#imageMemory = undefined; // an image of another camera may come at the same time
    return this.#send(ask, true, (asked) => ({
      request: {
        method: "GET",
        path: ask.path,
        query: encodeParameters(this.#idsOf(asked)),
        accept: "application/imagebytes, application/json;q=0.5",
        replyBytesMax: imageBytesMax,
        into,
      },
      read: (reply) => {
        checkStatus(reply, asked);
        const isBytes = mediaType(reply) === "application/imagebytes";
        const image = isBytes
          ? imageFromBytes(reply.body, asked, { maxAdu, memory: this.memory })
          : imageFromJson(reply, asked);
        if (isBytes) this.#imageMemory = reply.body;
        return { value: image, serverTransactionId: image.serverTransactionId };
      },
    }));
  }

  #idsOf(asked: Asked): Parameters {
    return { ClientID: this.#ids.clientId, ClientTransactionID: asked.transactionId };
  }

  async #send<T>(
    ask: Pick<Ask<T>, "device" | "member" | "withinSeconds" | "signal">,
    repeatable: boolean,
    prepare: (asked: Asked) => {
      request: Omit<HttpRequest, "signal">;
      read: (reply: HttpReply) => { value: T; serverTransactionId: number };
    },
  ): Promise<T> {
    const { device, member, withinSeconds, signal } = ask;
    signal.throwIfAborted();
    this.reach.check(device);
    const what = `the answer to ${member}`;
    const asked = withDeadline(this.clock, { device, what, withinSeconds, signal }, async (abort) => {
      for (let attempt = 1; ; attempt++) {
        const { request, read } = prepare({ device, member, transactionId: this.#ids.next() });
        const lastKnown = this.#serverTransactionId;
        const elapsedSeconds = startStopwatch(this.clock);
        try {
          const reply = await this.#exchange.exchange({ ...request, signal: abort });
          this.reach.found();
          if (request.method === "GET") this.turns.note(elapsedSeconds());
          const { value, serverTransactionId } = read(reply);
          this.#note(serverTransactionId, lastKnown);
          return value;
        } catch (error) {
          if (error instanceof MixedUpReplyError) await this.#exchange.reset();
          if (!(error instanceof HttpLinkError)) throw error;
          if (error.neverSent && this.turns.refused()) continue;
          // An idle socket that the server has closed meanwhile shows itself only now: the next one is fresh.
          if (repeatable && attempt === 1 && !error.neverSent) continue;
          this.reach.lost(error.message);
          throw new DeviceLostError(device, `${member}: ${error.message}`, { cause: error });
        }
      }
    });
    return asked.catch((error: unknown) => {
      const isSilent = error instanceof DeadlineError || error instanceof DeviceLostError;
      if (isSilent && !(error instanceof NotConnectedError)) this.#lookout.look(error.message);
      throw error;
    });
  }

  /** The server counts up by one each time, so a number not above what was known when we asked shows a new count. */
  #note(serverTransactionId: number, lastKnown: number): void {
    if (serverTransactionId === 0 || this.#restartCount > restartsBelievedMax) return;
    if (serverTransactionId > lastKnown) {
      this.#serverTransactionId = Math.max(this.#serverTransactionId, serverTransactionId);
      return;
    }
    if (this.#serverTransactionId > lastKnown) return; // another reply has told of the same restart already
    this.#serverTransactionId = serverTransactionId;
    this.#restartCount++;
    this.log.debug({ server: this.name }, "the server counts its transactions anew: it has restarted");
  }

  async [Symbol.asyncDispose](): Promise<void> {
    await this.#lookout.close();
    await this.#exchange.close();
  }
}
