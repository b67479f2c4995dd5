import type { Clock } from "../../kit/clock.ts";
import { parseNumber } from "../wire/number-text.ts";
import type { ElementValue } from "../wire/property.ts";
import type { CommandValues } from "./command.ts";

/** How late a server may still carry out what it read from a link that is gone [s]. */
const lateSeconds = 60;

/**
 * A server tells a command to all clients but its sender, and knows the sender by its link. What we sent just before the
 * link broke comes back over the next one as if somebody else had sent it.
 */
export class OwnCommands {
  readonly #last = new Map<string, { values: CommandValues; lostCount: number; atSeconds: number }>();

  constructor(readonly clock: Pick<Clock, "monotonicSeconds">) {}

  /** @param lostCount the links that were lost so far */
  sent(property: string, values: CommandValues, lostCount: number): void {
    this.#last.set(property, { values, lostCount, atSeconds: this.clock.monotonicSeconds() });
  }

  isEcho(property: string, told: Readonly<Record<string, string>>, lostCount: number): boolean {
    const own = this.#last.get(property);
    if (!own || own.lostCount === lostCount) return false;
    if (this.clock.monotonicSeconds() - own.atSeconds > lateSeconds) return false;
    return Object.entries(own.values).every(([element, value]) => isSame(value, told[element]));
  }
}

function isSame(value: ElementValue, text: string | undefined): boolean {
  if (text === undefined) return false;
  if (typeof value === "number") return Math.abs(parseNumber(text) - value) <= 1e-6 * Math.abs(value);
  return (typeof value === "boolean" ? (value ? "On" : "Off") : value) === text;
}
