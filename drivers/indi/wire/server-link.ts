import type { Clock, ClockTimer } from "../../kit/clock.ts";
import { withDeadline } from "../../kit/deadline.ts";
import { type ByteLink, LinkClosedError, type OpenLink } from "../../kit/links.ts";
import type { Log } from "../../kit/log.ts";
import type { Random } from "../../kit/random.ts";
import { RoundTrip } from "../../kit/round-trip.ts";
import type { ServerReach } from "../../kit/server-reach.ts";
import type { SpareMemory } from "../../kit/spare-memory.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import type { StreamLimits } from "./limits.ts";
import { type IndiMessage, type MessageHandlers, MessageReader } from "./message-reader.ts";
import { pingReplyText, pingRequestText } from "./message-writer.ts";

export interface ServerLinkOptions {
  readonly open: OpenLink;
  readonly clock: Clock;
  readonly log: Log;
  readonly random: Random;
  readonly serverName: string;
  readonly reach: ServerReach;
  readonly limits: Partial<StreamLimits> | undefined;
  /** What BLOBs are decoded into. */
  readonly memory: SpareMemory;
  readonly backoff: { readonly firstSeconds: number; readonly lastSeconds: number };
  readonly ping: { readonly everySeconds: number; readonly withinSeconds: number };
}

export interface ServerLinkHooks extends Omit<MessageHandlers, "dropped"> {
  /** The link is open: what is sent here goes first. */
  up(): void;
  down(reason: string): void;
  /** An attempt failed. */
  failed(error: unknown): void;
}

/** Longest that opening may take [s]. */
const openSeconds = 10;

/** A link to the server that is opened anew whenever it is lost, until `close`. What was half read is thrown away. */
export class ServerLink {
  #link: ByteLink | undefined;
  #endLink: ((reason: string) => void) | undefined;
  readonly #closing = new AbortController();
  #running: Promise<void> | undefined;
  #heard = false;
  #pingsAnswered = false;
  #pingCount = 0;
  #ping: { readonly uid: string; readonly elapsedSeconds: () => number } | undefined;
  readonly #roundTrip: RoundTrip;

  constructor(
    private readonly options: ServerLinkOptions,
    private readonly hooks: ServerLinkHooks,
  ) {
    this.#roundTrip = new RoundTrip(options.clock);
  }

  /** Of the server's own answers to pings; 0 from one that doesn't answer them [s]. */
  get roundTripSeconds(): number {
    const waitingSeconds = this.#pingsAnswered ? (this.#ping?.elapsedSeconds() ?? 0) : 0;
    return Math.max(this.#roundTrip.seconds, waitingSeconds);
  }

  get isUp(): boolean {
    return this.#link !== undefined;
  }

  start(): void {
    this.#running ??= this.#run();
  }

  /** @throws LinkClosedError; the order of calls is the order on the wire */
  send(text: string): Promise<void> {
    if (!this.#link) return Promise.reject(new LinkClosedError());
    return this.#link.send(Buffer.from(text, "utf8"));
  }

  /** Sends what nobody waits for: if the link is gone, the reader finds out. */
  post(text: string): void {
    this.send(text).catch(() => {});
  }

  async close(): Promise<void> {
    this.#closing.abort(new LinkClosedError("the client was closed"));
    this.#endLink?.("the client was closed");
    await this.#running;
  }

  async #run(): Promise<void> {
    const { clock, random, backoff, serverName, reach } = this.options;
    const signal = this.#closing.signal;
    let delaySeconds = backoff.firstSeconds;
    while (!signal.aborted) {
      try {
        const what = "opening the link";
        const link = await withDeadline(
          clock,
          { device: serverName, what, withinSeconds: openSeconds, signal },
          this.options.open,
        );
        const upSeconds = startStopwatch(clock);
        const reason = await this.#use(link);
        // A server that accepts and drops at once must not be asked ever faster.
        if (upSeconds() > backoff.lastSeconds) delaySeconds = backoff.firstSeconds;
        reach.lost(reason);
        this.hooks.down(reason);
      } catch (error) {
        if (!signal.aborted) {
          reach.lost(error instanceof Error ? error.message : String(error));
          this.hooks.failed(error);
        }
      }
      if (signal.aborted) return;
      const pauseSeconds = delaySeconds * random.between(0.75, 1.25);
      reach.nextAttemptIn(pauseSeconds);
      await clock.sleep(pauseSeconds, signal).catch(() => {});
      delaySeconds = Math.min(delaySeconds * 2, backoff.lastSeconds);
    }
  }

  /** @returns why the link ended */
  async #use(link: ByteLink): Promise<string> {
    if (this.#closing.signal.aborted) {
      await link.close();
      return "the client was closed";
    }
    const ended = new Promise<string>((resolve) => {
      this.#endLink = resolve;
    });
    this.#link = link;
    this.#pingsAnswered = false;
    this.#ping = undefined;
    this.#heard = true;
    const reader = new MessageReader(this.#handlers(), this.options.limits, this.options.memory);
    this.hooks.up();
    const watchdog = this.#watchLife();
    void this.#read(link, reader).then(this.#endLink, this.#endLink);
    const reason = await ended;
    watchdog.cancel();
    this.#link = undefined;
    this.#endLink = undefined;
    await link.close().catch(() => {});
    return reader.midMessage ? `${reason}, in the middle of a message` : reason;
  }

  async #read(link: ByteLink, reader: MessageReader): Promise<string> {
    let isFirst = true;
    try {
      for await (const chunk of link.incoming) {
        if (this.#link !== link) break; // given up: nothing more counts
        if (isFirst && startsAsHttp(chunk)) return httpInstead;
        isFirst = false;
        this.#heard = true;
        this.options.reach.found(); // not before: a tunnel opens links to a server that is gone
        reader.push(chunk);
      }
      return "the server closed the link";
    } catch (error) {
      return error instanceof Error ? error.message : String(error);
    }
  }

  #handlers(): MessageHandlers {
    const { log, serverName } = this.options;
    return {
      nextRevision: () => this.hooks.nextRevision(),
      wantsBlob: (device, property) => this.hooks.wantsBlob(device, property),
      dropped: (why) => log.warn({ server: serverName, why }, "INDI: lost a broken element"),
      message: (message) => this.#take(message),
    };
  }

  #take(message: IndiMessage): void {
    if (message.action === "pingReply") this.#pingAnswered(message.attributes.get("uid") ?? "");
    else if (message.action === "pingRequest") this.post(pingReplyText(message.attributes.get("uid") ?? ""));
    else this.hooks.message(message);
  }

  /**
   * Asks now and then for a sign of life, which also tells how long answers take; after a silence any byte is one.
   * Servers before 1.9.7 don't answer pings, so silence proves something only once a ping was answered.
   */
  #watchLife(): ClockTimer {
    const { clock, ping } = this.options;
    let timer: ClockTimer;
    const rest = () => {
      this.#heard = false;
      timer = clock.setTimer(ping.everySeconds, () => {
        this.#sendPing();
        if (this.#heard) rest();
        else wait();
      });
    };
    const wait = () => {
      timer = clock.setTimer(ping.withinSeconds, () => {
        if (!this.#heard && this.#pingsAnswered)
          this.#endLink?.(`no sign of life for ${ping.everySeconds + ping.withinSeconds} s`);
        else rest();
      });
    };
    this.#sendPing();
    rest();
    return { cancel: () => timer.cancel() };
  }

  #sendPing(): void {
    if (this.#ping && this.#pingsAnswered) return; // its answer is still to come
    const uid = `evenfield-${++this.#pingCount}`;
    this.#ping = { uid, elapsedSeconds: startStopwatch(this.options.clock) };
    this.post(pingRequestText(uid));
  }

  #pingAnswered(uid: string): void {
    this.#pingsAnswered = true;
    if (this.#ping?.uid !== uid) return;
    this.#roundTrip.note(this.#ping.elapsedSeconds());
    this.#ping = undefined;
  }
}

const httpInstead =
  "an HTTP server answers there; if it is an Alpaca server, its address belongs under `alpaca` in the rig file";

function startsAsHttp(chunk: Uint8Array): boolean {
  return Buffer.from(chunk.subarray(0, 5)).toString("latin1") === "HTTP/";
}
