import type { Clock } from "../../kit/clock.ts";
import { DeviceLostError, MissingAbilityError } from "../../kit/errors.ts";
import type { Log } from "../../kit/log.ts";
import { deadlineOver, RoundTrip } from "../../kit/round-trip.ts";
import type { ServerReach } from "../../kit/server-reach.ts";
import type { SpareMemory } from "../../kit/spare-memory.ts";
import type { IndiBlob } from "../wire/blob.ts";
import type { IndiMessage } from "../wire/message-reader.ts";
import { getPropertiesText, newVectorText } from "../wire/message-writer.ts";
import { PendingWaits } from "../wire/pending-waits.ts";
import type { PropertyVector } from "../wire/property.ts";
import { type BlobFilter, BlobWaits } from "./blob-waits.ts";
import { Change, type ChangeOptions } from "./change.ts";
import { type CommandValues, commandText } from "./command.ts";
import { OwnCommands } from "./own-commands.ts";
import { type DeviceEvent, PropertyNews } from "./property-news.ts";

/** A read over a quick link [s]. */
const readSeconds = 5;

/** What a device needs of its client. */
export interface DeviceWires {
  readonly clock: Clock;
  readonly log: Log;
  /** As messages call it. */
  readonly serverName: string;
  /** Those that drivers have announced. */
  deviceNames(): readonly string[];
  readonly blobBytesMax: number;
  readonly memory: SpareMemory;
  readonly reach: ServerReach;
  serverRoundTripSeconds(): number;
  /** @throws SealedRigError */
  checkCommand(property: string): void;
  /** @throws LinkClosedError */
  send(text: string): Promise<void>;
  revision(): number;
  /** Why nothing can be sent at present; `undefined` if it can. */
  downReason(): string | undefined;
}

/**
 * One device on an INDI server. The object stays the same over restarts of driver and server.
 * All waits: the signal's reason if aborted, `DeadlineError` when the time is up, `DeviceLostError` at once when
 * the driver, the server or the link goes.
 */
export class IndiDevice {
  readonly #news: PropertyNews;
  readonly #waits: PendingWaits<DeviceEvent>;
  readonly #blobs: BlobWaits;
  readonly #reads: RoundTrip;
  readonly #own: OwnCommands;
  readonly #listeners = new Set<(event: DeviceEvent) => void>();
  #lostCount = 0;

  constructor(
    readonly name: string,
    readonly wires: DeviceWires,
  ) {
    this.#news = new PropertyNews(name, wires.clock, wires.log);
    this.#reads = new RoundTrip(wires.clock);
    this.#own = new OwnCommands(wires.clock);
    this.#waits = new PendingWaits<DeviceEvent>(wires.clock);
    this.#blobs = new BlobWaits(name, wires.clock, wires.log, wires.blobBytesMax);
  }

  /** Whether any driver has announced it. */
  get known(): boolean {
    return this.#news.store.all().length > 0;
  }

  /** Times that it was lost since the client was made. A driver gets about ten restarts from its server. */
  get lostCount(): number {
    return this.#lostCount;
  }

  /** Place of the newest arrival, of whatever kind. "After this" marks for `waitFor` and `nextBlob`. */
  get revision(): number {
    return this.wires.revision();
  }

  /** Clock time of the newest definition [ms]. */
  get lastDefinedSeconds(): number {
    return this.#news.lastDefinedSeconds;
  }

  /** Waits that are open; tests expect none at the end. */
  get waitCount(): number {
    return this.#waits.count;
  }

  /** Memory of a BLOB that nobody looks at any more, for one to come; it is empty from now on. */
  giveBack(bytes: ArrayBufferView): void {
    this.wires.memory.giveBack(bytes);
  }

  /** Newest snapshot, `undefined` if the device does not offer it at present. */
  property(name: string): PropertyVector | undefined {
    return this.#news.store.get(name);
  }

  properties(): readonly PropertyVector[] {
    return this.#news.store.all();
  }

  /**
   * Waits until all are defined, also over a reconnect that is under way. Asks once more for each by its name.
   * @returns the vectors in the order of the names
   * @throws MissingAbilityError naming those that are missing when the time is up
   */
  require(
    names: readonly string[],
    options: { withinSeconds: number },
    signal: AbortSignal,
  ): Promise<readonly PropertyVector[]> {
    const { withinSeconds } = options;
    const missing = () => names.filter((name) => !this.#news.store.get(name));
    const late = () =>
      new MissingAbilityError(this.name, `did not offer ${missing().join(", ")} within ${withinSeconds} s`);
    return this.#waits.run({ device: this.name, what: "", withinSeconds, signal, late }, (ends) => {
      const look = () => {
        if (missing().length === 0) ends.done(names.map((name) => this.#news.store.get(name)!));
      };
      // Some drivers define a property with an empty list first, or late, and tell when asked by its name.
      const again = this.wires.clock.setTimer(withinSeconds / 2, () => {
        for (const name of missing()) this.#post(getPropertiesText(this.name, name));
      });
      look();
      return { see: look, stop: () => again.cancel() };
    });
  }

  /** Of reads of this device, and of the server's own answers [s]. */
  get roundTripSeconds(): number {
    return Math.max(this.#reads.seconds, this.wires.serverRoundTripSeconds());
  }

  /** Asks the device itself for the property as it is now. Also the proof that its driver lives. Default 5 s, more on a slow link. */
  async refresh(
    name: string,
    options: { withinSeconds?: number },
    signal: AbortSignal,
  ): Promise<PropertyVector> {
    const { withinSeconds = deadlineOver(this.roundTripSeconds, readSeconds) } = options;
    this.#checkLink();
    const wait = { device: this.name, what: `reading ${name}`, withinSeconds, signal };
    return this.#reads.measure(() =>
      this.#waits.run<PropertyVector>(wait, (ends) => {
        this.#sendOrFail(getPropertiesText(this.name, name), ends.fail);
        return {
          see: (event) => {
            if (event.type === "defined" && event.vector.name === name) ends.done(event.vector);
          },
        };
      }),
    );
  }

  /**
   * Sends one command and waits until it has ended. Elements not given keep their present values; of switches under
   * OneOfMany and AtMostOne, those not given go off. All elements are sent always.
   * @returns the snapshot that ended it
   * @throws MissingAbilityError no such property or element, or read-only; OutOfLimitsError range or switch rule;
   *   nothing was sent in both cases
   * @throws RefusedError Alert, an error message, a state that is not final, or no answer with nothing changed
   * @throws ReadbackError it ended well but `arrived` is not true
   */
  async change(
    name: string,
    values: CommandValues,
    options: ChangeOptions,
    signal: AbortSignal,
  ): Promise<PropertyVector> {
    const { before, text } = this.#checked(name, values);
    this.#own.sent(name, values, this.#lostCount);
    const { withinSeconds } = options;
    const what = `${name} to ${Object.entries(values)
      .map(([element, value]) => `${element}=${value}`)
      .join(" ")}`;
    return this.#waits.run({ device: this.name, what, withinSeconds, signal }, (ends) => {
      const ask = () => this.#post(getPropertiesText(this.name, name));
      const change = new Change({ clock: this.wires.clock, before, values, options, ask }, ends);
      this.#news.store.commanded(name);
      this.#sendOrFail(text, ends.fail);
      return change;
    });
  }

  /**
   * Checks and sends as `change` does, and waits for nothing but the link.
   * @returns the mark to wait from: everything that answers it has a greater revision
   */
  async send(name: string, values: CommandValues, signal: AbortSignal): Promise<number> {
    signal.throwIfAborted();
    const { text } = this.#checked(name, values);
    this.#own.sent(name, values, this.#lostCount);
    const mark = this.revision;
    this.#news.store.commanded(name);
    await this.#onTheWire(name, text, signal);
    return mark;
  }

  /**
   * Puts switches on the wire at once, whatever state the property is in; nothing waits for their answer.
   * @throws DeviceLostError
   */
  async sendUnasked(
    name: string,
    switches: Readonly<Record<string, boolean>>,
    signal: AbortSignal,
  ): Promise<void> {
    signal.throwIfAborted();
    this.wires.checkCommand(name);
    this.#checkLink();
    this.#own.sent(name, switches, this.#lostCount);
    const text = newVectorText("switch", this.name, name, new Map(Object.entries(switches)));
    await this.#onTheWire(name, text, signal);
  }

  #onTheWire(name: string, text: string, signal: AbortSignal): Promise<void> {
    const wait = { device: this.name, what: `sending ${name}`, withinSeconds: 30, signal };
    return this.#waits.run<void>(wait, (ends) => {
      this.wires.send(text).then(ends.done, (error) => ends.fail(this.#lostError("the link was cut", error)));
      return {};
    });
  }

  /**
   * Waits until a snapshot newer than `after` passes the test; without `after` the present one may do.
   * A deleted property is not an end: it may be defined again.
   */
  async waitFor(
    name: string,
    test: (vector: PropertyVector) => boolean,
    options: { withinSeconds: number; after?: number },
    signal: AbortSignal,
  ): Promise<PropertyVector> {
    const { withinSeconds, after = 0 } = options;
    this.#checkLink();
    return this.#waits.run(
      { device: this.name, what: `waiting for ${name}`, withinSeconds, signal },
      (ends) => {
        const look = (vector: PropertyVector | undefined) => {
          if (vector && !vector.awaitingAnswer && vector.revision > after && test(vector)) ends.done(vector);
        };
        look(this.#news.store.get(name));
        return {
          see: (event) => {
            if ((event.type === "updated" || event.type === "defined") && event.vector.name === name)
              look(event.vector);
          },
        };
      },
    );
  }

  /** Waits until the device itself sends the property: a definition may only repeat what it said before. */
  waitForUpdate(name: string, withinSeconds: number, signal: AbortSignal): Promise<PropertyVector> {
    this.#checkLink();
    const wait = { device: this.name, what: `waiting for ${name}`, withinSeconds, signal };
    return this.#waits.run<PropertyVector>(wait, (ends) => ({
      see: (event) => {
        if (event.type === "updated" && event.vector.name === name) ends.done(event.vector);
      },
    }));
  }

  /** Waits until the property is in another state than Busy, which it may be at once. */
  untilIdle(name: string, withinSeconds: number, signal: AbortSignal): Promise<PropertyVector> {
    return this.waitFor(name, ({ state }) => state !== "Busy", { withinSeconds }, signal);
  }

  /** @returns how to stop it; safe to call any number of times */
  watch(listener: (event: DeviceEvent) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  onForeignCommand(listener: (event: Extract<DeviceEvent, { type: "foreignCommand" }>) => void): () => void {
    return this.watch((event) => {
      if (event.type === "foreignCommand") listener(event);
    });
  }

  /**
   * The next BLOB of a property. Call it before the command that makes one: BLOBs that nobody waits for are skipped.
   * Those that began at or before `after` are dropped; a function is asked when a BLOB has come, and its `undefined`
   * drops that BLOB (as before this request's Busy).
   * @throws BlobError broken, cut short or over the limit; DeviceLostError if the link went in its middle
   */
  async nextBlob(
    name: string,
    options: BlobFilter & { withinSeconds: number },
    signal: AbortSignal,
  ): Promise<IndiBlob> {
    this.#checkLink();
    const { withinSeconds, ...filter } = options;
    return this.#waits.run(
      { device: this.name, what: `the image ${name}`, withinSeconds, signal },
      (ends) => {
        const remove = this.#blobs.add({ name, ...filter, ...ends });
        return { stop: remove };
      },
    );
  }

  wantsBlob(name: string): boolean {
    return this.#blobs.wants(name);
  }

  /** Takes one message of this device. */
  take(message: IndiMessage): void {
    const words = message.attributes.get("message");
    const name = message.attributes.get("name");
    if (message.action === "delProperty" && name === undefined) {
      this.lose(words ?? "its driver has ended");
      return;
    }
    const event = this.#news.take(message);
    if (event?.type === "foreignCommand" && this.#own.isEcho(event.name, event.values, this.#lostCount))
      return;
    if (words) this.#tell({ type: "message", text: words, revision: message.revision });
    if (event) this.#tell(event);
    if (message.kind === "blob" && message.action === "set") this.#blobs.take(message);
  }

  /** All that is known of it is void: everything that waits fails now. */
  lose(reason: string): void {
    const wasKnown = this.known;
    this.#news.store.clear();
    this.#waits.failAll(this.#lostError(reason));
    if (!wasKnown) return;
    this.#lostCount++;
    this.#tell({ type: "lost", reason });
  }

  /** The link that carries its images is gone; the device itself is not. */
  loseBlobs(reason: string): void {
    this.#blobs.failAll(this.#lostError(`the link for images was cut: ${reason}`));
  }

  #tell(event: DeviceEvent): void {
    this.#waits.tell(event);
    for (const listener of [...this.#listeners]) listener(event);
  }

  #checked(name: string, values: CommandValues): { before: PropertyVector; text: string } {
    this.wires.checkCommand(name);
    this.#checkLink();
    const before = this.#news.store.get(name);
    if (!before) throw new MissingAbilityError(this.name, `does not offer ${name} at present`);
    return { before, text: commandText(before, values) };
  }

  #checkLink(): void {
    const reason = this.wires.downReason();
    if (reason !== undefined) throw this.#lostError(reason);
  }

  #sendOrFail(text: string, fail: (error: unknown) => void): void {
    this.wires.send(text).catch((error) => fail(this.#lostError("the link was cut", error)));
  }

  #post(text: string): void {
    this.wires.send(text).catch(() => {}); // the loss is told by the reader
  }

  #lostError(reason: string, cause?: unknown): DeviceLostError {
    return new DeviceLostError(this.name, `lost: ${reason}`, cause === undefined ? undefined : { cause });
  }
}
