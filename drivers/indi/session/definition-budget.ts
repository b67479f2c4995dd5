import { StreamLimitError } from "../wire/errors.ts";
import type { IndiMessage } from "../wire/message-reader.ts";

/** Far above what observatories have: a server of many devices with some hundred properties each defines less than 2 MiB. */
const heldCharactersMax = 32 * 2 ** 20;
const devicesMax = 1000;
/** What a property or an element costs beside its words, about [characters]. */
const overhead = 100;

/** How much of a server's definitions is held. A server that defines without end is an error, never more memory. */
export class DefinitionBudget {
  readonly #devices = new Set<string>();
  readonly #held = new Map<string, number>();
  #heldCharacters = 0;

  /** Before the message is taken. @throws StreamLimitError; then the link is of no use any more */
  note(message: IndiMessage): void {
    const device = message.attributes.get("device");
    if (device === undefined) return;
    this.#devices.add(device);
    if (this.#devices.size > devicesMax) {
      this.#devices.delete(device);
      throw new StreamLimitError("devices", devicesMax);
    }
    const property = message.attributes.get("name");
    if (message.action === "delProperty") this.#forget(device, property);
    if (message.action !== "def" && message.action !== "set") return;
    const key = JSON.stringify([device, property]);
    const before = this.#held.get(key) ?? 0;
    if (message.action === "set" && before === 0) return; // of what is not defined, nothing is kept
    const size = Math.max(charactersOf(message), message.action === "set" ? before : 0);
    if (this.#heldCharacters + size - before > heldCharactersMax)
      throw new StreamLimitError("definitions", heldCharactersMax);
    this.#held.set(key, size);
    this.#heldCharacters += size - before;
  }

  /** The link is gone, and with it all that was defined over it; devices stay known by their names. */
  clear(): void {
    this.#held.clear();
    this.#heldCharacters = 0;
  }

  #forget(device: string, property: string | undefined): void {
    const whole = JSON.stringify([device]).slice(0, -1);
    const keys =
      property === undefined
        ? [...this.#held.keys()].filter((key) => key.startsWith(`${whole},`))
        : [JSON.stringify([device, property])];
    for (const key of keys) {
      this.#heldCharacters -= this.#held.get(key) ?? 0;
      this.#held.delete(key);
    }
  }
}

function charactersOf({ attributes, elements }: IndiMessage): number {
  const parts = elements.map(({ attributes: own, text }) => overhead + lengthOf(own) + text.length);
  return parts.reduce((sum, part) => sum + part, overhead + lengthOf(attributes));
}

function lengthOf(attributes: ReadonlyMap<string, string>): number {
  let sum = 0;
  for (const [name, value] of attributes) sum += name.length + value.length;
  return sum;
}
