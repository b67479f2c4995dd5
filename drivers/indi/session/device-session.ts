import type { Clock } from "../../kit/clock.ts";
import { DeviceLostError, MissingAbilityError } from "../../kit/errors.ts";
import type { Log } from "../../kit/log.ts";
import type { SpareMemory } from "../../kit/spare-memory.ts";
import type { IndiBlob } from "../wire/blob.ts";
import type { IndiMessage } from "../wire/message-reader.ts";
import { getPropertiesText } from "../wire/message-writer.ts";
import { PendingWaits } from "../wire/pending-waits.ts";
import type { PropertyVector } from "../wire/property.ts";
import { type BlobFilter, BlobWaits } from "./blob-waits.ts";
import { Change } from "./change.ts";
import { commandText } from "./command.ts";
import type { ChangeOptions, CommandValues, DeviceEvent, IndiDevice } from "./device.ts";
import { connectDevice, disconnectDevice } from "./device-connection.ts";
import { PropertyNews } from "./property-news.ts";

/** What a device needs of its client. */
export interface DeviceWires {
  readonly clock: Clock;
  readonly log: Log;
  readonly blobBytesMax: number;
  readonly memory: SpareMemory;
  /** @throws LinkClosedError */
  send(text: string): Promise<void>;
  revision(): number;
  /** Why nothing can be sent at present; `undefined` if it can. */
  downReason(): string | undefined;
}

type ForeignCommand = Extract<DeviceEvent, { type: "foreignCommand" }>;

export class DeviceSession implements IndiDevice {
  readonly #news: PropertyNews;
  readonly #waits: PendingWaits<DeviceEvent>;
  readonly #blobs: BlobWaits;
  readonly #listeners = new Set<(event: DeviceEvent) => void>();
  #lostCount = 0;

  constructor(
    readonly name: string,
    readonly wires: DeviceWires,
  ) {
    this.#news = new PropertyNews(name, wires.clock, wires.log);
    this.#waits = new PendingWaits<DeviceEvent>(wires.clock);
    this.#blobs = new BlobWaits(name, wires.clock, wires.log, wires.blobBytesMax);
  }

  get known(): boolean {
    return this.#news.store.all().length > 0;
  }

  get lostCount(): number {
    return this.#lostCount;
  }

  get revision(): number {
    return this.wires.revision();
  }

  /** Clock time of the newest definition [ms]. */
  get lastDefinedMs(): number {
    return this.#news.lastDefinedMs;
  }

  /** Waits that are open; tests expect none at the end. */
  get waitCount(): number {
    return this.#waits.count;
  }

  giveBack(bytes: ArrayBufferView): void {
    this.wires.memory.giveBack(bytes);
  }

  property(name: string): PropertyVector | undefined {
    return this.#news.store.get(name);
  }

  properties(): readonly PropertyVector[] {
    return this.#news.store.all();
  }

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

  async refresh(
    name: string,
    options: { withinSeconds?: number },
    signal: AbortSignal,
  ): Promise<PropertyVector> {
    const { withinSeconds = 5 } = options;
    this.#checkLink();
    return this.#waits.run({ device: this.name, what: `reading ${name}`, withinSeconds, signal }, (ends) => {
      this.#sendOrFail(getPropertiesText(this.name, name), ends.fail);
      return {
        see: (event) => {
          if (event.type === "defined" && event.vector.name === name) ends.done(event.vector);
        },
      };
    });
  }

  async change(
    name: string,
    values: CommandValues,
    options: ChangeOptions,
    signal: AbortSignal,
  ): Promise<PropertyVector> {
    const { before, text } = this.#checked(name, values);
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

  async send(name: string, values: CommandValues, signal: AbortSignal): Promise<number> {
    signal.throwIfAborted();
    const { text } = this.#checked(name, values);
    const mark = this.revision;
    this.#news.store.commanded(name);
    await this.#waits.run<void>(
      { device: this.name, what: `sending ${name}`, withinSeconds: 30, signal },
      (ends) => {
        this.wires
          .send(text)
          .then(ends.done, (error) => ends.fail(this.#lostError("the link was cut", error)));
        return {};
      },
    );
    return mark;
  }

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

  connectDevice(
    signal: AbortSignal,
    options: { withinSeconds?: number; quietSeconds?: number } = {},
  ): Promise<void> {
    return connectDevice(this, signal, options);
  }

  disconnectDevice(signal: AbortSignal, options: { withinSeconds?: number } = {}): Promise<void> {
    return disconnectDevice(this, signal, options);
  }

  watch(listener: (event: DeviceEvent) => void): () => void {
    this.#listeners.add(listener);
    return () => this.#listeners.delete(listener);
  }

  onForeignCommand(listener: (event: ForeignCommand) => void): () => void {
    return this.watch((event) => {
      if (event.type === "foreignCommand") listener(event);
    });
  }

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
