import type { Clock } from "../kit/clock.ts";
import type { Log } from "../kit/log.ts";
import { oneLine } from "../kit/plain-text.ts";

/** Commands that somebody else gave a device since it was opened, as far as its protocol lets them be known. */
export interface ForeignCommands {
  readonly count: number;
  /** Who commanded what, in words; `undefined` while there was none. */
  readonly last: { readonly what: string; readonly atUtcMs: number } | undefined;
}

/** Of what nobody else can command. */
export const noForeignCommands: ForeignCommands = { count: 0, last: undefined };

/** Where they are noted: the one place that tells of them. */
export class ForeignCommandLog implements ForeignCommands {
  #count = 0;
  #last: ForeignCommands["last"];

  constructor(
    readonly device: string,
    readonly tools: { readonly clock: Clock; readonly log: Log },
  ) {}

  get count(): number {
    return this.#count;
  }

  get last(): ForeignCommands["last"] {
    return this.#last;
  }

  note(what: string): void {
    this.#count++;
    this.#last = { what: oneLine(what), atUtcMs: this.tools.clock.nowMs() };
    this.tools.log.warn({ device: this.device, what }, "somebody else commands this device");
  }
}

/**
 * Notices a state that changed though nobody here commanded it, on protocols that tell of no commands. Readings that
 * were under way when a command went out count for nothing.
 */
export class UncommandedChange {
  #rest: string | undefined;
  #commandCount = 0;

  commanded(): void {
    this.#rest = undefined;
    this.#commandCount++;
  }

  /** A reading begins. @returns to be called with what it gave; it returns what the state was, when nobody here changed it */
  look(): (state: string, isRest: boolean) => string | undefined {
    const commandCount = this.#commandCount;
    return (state, isRest) => {
      if (commandCount !== this.#commandCount) return undefined;
      const before = this.#rest;
      this.#rest = isRest ? state : undefined;
      return before !== undefined && before !== state ? before : undefined;
    };
  }
}
