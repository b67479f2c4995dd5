import type { Clock } from "../../kit/clock.ts";
import type { Log } from "../../kit/log.ts";
import type { IndiMessage } from "../wire/message-reader.ts";
import type { PropertyVector } from "../wire/property.ts";
import { PropertyStore } from "../wire/property-store.ts";

/** What a device did. Told in the order of arrival, after the store was brought up to date. */
export type DeviceEvent =
  | { readonly type: "defined"; readonly vector: PropertyVector }
  | { readonly type: "updated"; readonly vector: PropertyVector }
  | { readonly type: "deleted"; readonly name: string }
  | { readonly type: "message"; readonly text: string; readonly revision: number }
  /** The driver died, the server did, or the link was cut. All properties are gone; all waits have failed. */
  | { readonly type: "lost"; readonly reason: string }
  /** Somebody else commands this device. Never a state: only what was asked. */
  | {
      readonly type: "foreignCommand";
      readonly name: string;
      readonly values: Readonly<Record<string, string>>;
    };

/** Keeps one device's properties up to date and says what each message changed. */
export class PropertyNews {
  readonly store = new PropertyStore();
  #lastDefinedSeconds = Number.NEGATIVE_INFINITY;

  constructor(
    private readonly device: string,
    private readonly clock: Clock,
    private readonly log: Log,
  ) {}

  /** When the newest definition came, on the monotonic clock. */
  get lastDefinedSeconds(): number {
    return this.#lastDefinedSeconds;
  }

  /** @returns `undefined` when the message changes nothing */
  take(message: IndiMessage): DeviceEvent | undefined {
    const name = message.attributes.get("name") ?? "";
    switch (message.action) {
      case "def":
        this.#lastDefinedSeconds = this.clock.monotonicSeconds();
        return { type: "defined", vector: this.#noted(this.store.define(message)) };
      case "set": {
        const vector = this.store.update(message);
        if (vector) return { type: "updated", vector: this.#noted(vector) };
        this.log.debug({ device: this.device, property: name }, "INDI: an update without a definition");
        return undefined;
      }
      case "delProperty":
        return this.store.delete(name) ? { type: "deleted", name } : undefined;
      case "new": {
        const values = Object.fromEntries(message.elements.map((element) => [element.name, element.text]));
        return { type: "foreignCommand", name, values };
      }
      default:
        return undefined;
    }
  }

  /** A number that is none may be a sensor's way to say "unknown": kept as NaN, and told. */
  #noted(vector: PropertyVector): PropertyVector {
    for (const element of vector.elements.values()) {
      if (!Number.isNaN(element.value)) continue;
      const fields = { device: this.device, property: vector.name, element: element.name };
      this.log.debug(fields, "INDI: not a finite number");
    }
    return vector;
  }
}
