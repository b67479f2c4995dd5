import type { Clock } from "../../kit/clock.ts";
import { DeviceLostError } from "../../kit/errors.ts";
import type { OpenLink } from "../../kit/links.ts";
import type { Log } from "../../kit/log.ts";
import { neverAborted } from "../../kit/never-aborted.ts";
import type { Random } from "../../kit/random.ts";
import type { RigSeal } from "../../kit/seal.ts";
import { ServerReach } from "../../kit/server-reach.ts";
import { SpareMemory } from "../../kit/spare-memory.ts";
import { ImageLink } from "../wire/image-link.ts";
import { defaultLimits, type StreamLimits } from "../wire/limits.ts";
import type { IndiMessage } from "../wire/message-reader.ts";
import { enableBlobText, getPropertiesText } from "../wire/message-writer.ts";
import { PendingWaits } from "../wire/pending-waits.ts";
import { ServerLink } from "../wire/server-link.ts";
import { DefinitionBudget } from "./definition-budget.ts";
import { IndiDevice } from "./device.ts";
import { rehearseDecoding } from "./rehearse-decoding.ts";

export interface IndiClientOptions {
  readonly open: OpenLink;
  readonly clock: Clock;
  readonly log: Log;
  /** Spreads reconnects of several clients. */
  readonly random: Random;
  /** How messages call the server, "INDI server rig.local:7624" for example. */
  readonly serverName?: string;
  /**
   * How images travel. "shared" (default): on the one link, so that the order of Busy, BLOB and Ok is certain, which
   * is what tells this request's frame from the last one's. "separate": on a link of their own, so that commands and
   * guards stay quick while an image crawls through a slow network; the order of the two links is then not certain.
   */
  readonly blobLink?: "shared" | "separate";
  readonly limits?: Partial<StreamLimits>;
  /** While it is closed no device is commanded but to connect. Default: none. */
  readonly seal?: RigSeal;
  /** Wait before the first attempt to reconnect, doubled each time up to the last, each varied by ±25 %. Default 0.5, 5. */
  readonly backoff?: { readonly firstSeconds: number; readonly lastSeconds: number };
  /** Silence before the server is asked for a sign of life, and how long it may take. Default 10, 10. */
  readonly ping?: { readonly everySeconds: number; readonly withinSeconds: number };
}

export type ClientEvent =
  /** Devices may have to be connected and set up anew: a restarted server forgets everything. */
  | { readonly type: "linkUp"; readonly reconnects: number }
  | { readonly type: "linkDown"; readonly reason: string };

/** Commands that change no setting and move nothing: connecting, and asking a station for its report. */
const askingProperties: ReadonlySet<string> = new Set(["CONNECTION", "WEATHER_REFRESH"]);

type LinkState = "closed" | "connecting" | "up" | "down";

/** A client of one INDI server. Its devices live as long as it does, over every reconnect. */
export class IndiClient implements AsyncDisposable {
  readonly #options: IndiClientOptions;
  readonly #serverName: string;
  readonly #reach: ServerReach;
  readonly #control: ServerLink;
  /** Only with blobLink "separate". */
  readonly #images: ImageLink | undefined;
  readonly #devices = new Map<string, IndiDevice>();
  readonly #budget = new DefinitionBudget();
  readonly #blobsWanted = new Map<string, { device: string; property: string }>();
  readonly #listeners = new Set<(event: ClientEvent) => void>();
  readonly #waits: PendingWaits<ClientEvent>;
  readonly #memory = new SpareMemory();
  #state: LinkState = "closed";
  #revision = 0;
  #upCount = 0;
  /** First reason since the link was last up: later attempts only repeat it in other words. */
  #downReason: string | undefined;

  constructor(options: IndiClientOptions) {
    this.#options = options;
    this.#serverName = options.serverName ?? "INDI server";
    this.#waits = new PendingWaits<ClientEvent>(options.clock);
    const { open, clock, log, random, limits } = options;
    const backoff = options.backoff ?? { firstSeconds: 0.5, lastSeconds: 5 };
    const ping = options.ping ?? { everySeconds: 10, withinSeconds: 10 };
    const memory = this.#memory;
    const serverName = this.#serverName;
    const links = { open, clock, log, random, limits, memory, backoff, ping, serverName };
    const hooks = {
      message: (message: IndiMessage) => this.#take(message),
      nextRevision: () => ++this.#revision,
      wantsBlob: (device: string, property: string) =>
        this.#devices.get(device)?.wantsBlob(property) ?? false,
    };
    this.#reach = new ServerReach(clock);
    this.#control = new ServerLink(
      { ...links, reach: this.#reach },
      {
        ...hooks,
        up: () => this.#linkUp(),
        down: (reason) => this.#linkDown(reason),
        failed: (error) => this.#attemptFailed(error),
      },
    );
    if (options.blobLink === "separate") {
      const imageLinks = { ...links, reach: new ServerReach(clock) };
      this.#images = new ImageLink(imageLinks, hooks, (device, reason) =>
        this.#device(device).loseBlobs(reason),
      );
    }
  }

  get linkState(): LinkState {
    return this.#state;
  }

  /** Whether BLOBs and property updates come in one certain order ("shared"). */
  get ordersBlobs(): boolean {
    return this.#images === undefined;
  }

  /**
   * Opens the link, trying again as reconnects do. Later losses are repaired by itself until `close`.
   * @throws DeviceLostError with the first reason when the time is up (default 10 s)
   */
  async connect(signal: AbortSignal, options: { withinSeconds?: number } = {}): Promise<void> {
    const { withinSeconds = 10 } = options;
    if (this.#state === "up") return;
    if (this.#state === "closed") this.#state = "connecting";
    const late = () => this.#lostError(this.#downReason ?? `no link within ${withinSeconds} s`);
    await this.#waits.run<void>(
      { device: this.#serverName, what: "connecting", withinSeconds, signal, late },
      (ends) => {
        this.#control.start();
        return {
          see: (event) => {
            if (event.type === "linkUp") ends.done();
          },
        };
      },
    );
  }

  /** The same object for the same name, always; it need not be known to the server yet. */
  device(name: string): IndiDevice {
    return this.#device(name);
  }

  /** Those that drivers have announced. */
  deviceNames(): readonly string[] {
    return [...this.#devices.values()].filter((device) => device.known).map((device) => device.name);
  }

  /** Wants BLOBs of that property; kept over every reconnect. None come before this. */
  async enableBlobs(device: string, property: string, signal?: AbortSignal): Promise<void> {
    rehearseDecoding();
    this.#blobsWanted.set(JSON.stringify([device, property]), { device, property });
    if (this.#images) await this.#images.enable(device, signal ?? neverAborted);
    else if (this.#control.isUp) await this.#control.send(enableBlobText("Also", device, property));
  }

  /** @returns how to stop it */
  watch(listener: (event: ClientEvent) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  /** Ends everything; pending waits fail. Safe in any state, any number of times. */
  async close(): Promise<void> {
    this.#state = "closed";
    this.#downReason = "the client was closed";
    await Promise.all([this.#control.close(), this.#images?.close()]);
    this.#loseAll(this.#downReason);
  }

  [Symbol.asyncDispose](): Promise<void> {
    return this.close();
  }

  #linkUp(): void {
    this.#state = "up";
    this.#downReason = undefined;
    // The general request must come first: after any message with a device, a server keeps this client to that device.
    this.#control.post(getPropertiesText());
    if (!this.#images) {
      for (const { device, property } of this.#blobsWanted.values()) {
        this.#control.post(enableBlobText("Also", device, property));
      }
    }
    this.#options.log.info({ server: this.#serverName }, "INDI: the link is up");
    this.#tell({ type: "linkUp", reconnects: this.#upCount++ });
  }

  #linkDown(reason: string): void {
    if (this.#state !== "closed") this.#state = "down";
    this.#downReason ??= reason;
    const expected = this.#state === "closed";
    this.#options.log[expected ? "debug" : "warn"](
      { server: this.#serverName, reason },
      "INDI: the link is down",
    );
    this.#loseAll(reason);
    this.#tell({ type: "linkDown", reason });
  }

  #loseAll(reason: string): void {
    this.#waits.failAll(this.#lostError(reason));
    for (const device of this.#devices.values()) device.lose(reason);
    this.#budget.clear();
  }

  #attemptFailed(error: unknown): void {
    const reason = error instanceof Error ? error.message : String(error);
    this.#options.log[this.#downReason === undefined ? "warn" : "debug"](
      { server: this.#serverName, reason },
      "INDI: no link to the server",
    );
    this.#downReason ??= reason;
  }

  #take(message: IndiMessage): void {
    this.#budget.note(message);
    const name = message.attributes.get("device");
    if (name !== undefined) this.#device(name).take(message);
    else if (message.action === "message") {
      const text = message.attributes.get("message");
      this.#options.log.info({ server: this.#serverName, text }, "INDI: the server says");
    }
  }

  #device(name: string): IndiDevice {
    let session = this.#devices.get(name);
    if (!session) {
      const { clock, log, limits } = this.#options;
      session = new IndiDevice(name, {
        clock,
        log,
        serverName: this.#serverName,
        blobBytesMax: limits?.blobBytesMax ?? defaultLimits.blobBytesMax,
        memory: this.#memory,
        reach: this.#reach,
        serverRoundTripSeconds: () => this.#control.roundTripSeconds,
        checkCommand: (property) => {
          if (!askingProperties.has(property)) this.#options.seal?.check(name, property);
        },
        send: (text) => this.#control.send(text),
        revision: () => this.#revision,
        downReason: () => (this.#control.isUp ? undefined : (this.#downReason ?? "the link is not open")),
      });
      this.#devices.set(name, session);
    }
    return session;
  }

  #tell(event: ClientEvent): void {
    this.#waits.tell(event);
    for (const listener of [...this.#listeners]) listener(event);
  }

  #lostError(reason: string): DeviceLostError {
    return new DeviceLostError(this.#serverName, reason);
  }
}
