import type { PersonDeed } from "./person-deeds.ts";

/** What persons want of a service, from when they say it until the service has written it down. */
export class Wishes {
  readonly #unwritten: PersonDeed[] = [];
  #changed = new AbortController();
  #runStop = new AbortController();

  /** Aborted at the next wish: no wait goes on then. */
  get changed(): AbortSignal {
    return this.#changed.signal;
  }

  /** For the run that begins now; aborted when a person stops it. */
  beginRun(): AbortSignal {
    this.#runStop = new AbortController();
    return this.#runStop.signal;
  }

  add(deed: PersonDeed): void {
    this.#unwritten.push(deed);
    if (deed.deed === "stop") this.#runStop.abort(new Error(`${deed.who} stopped it on the page`));
    this.#changed.abort(new Error("a person wants something"));
    this.#changed = new AbortController();
  }

  /** Writes what was not yet written, in order. @throws what writing throws; nothing is lost by that */
  writeDown(write: (deed: PersonDeed) => void): void {
    for (let deed = this.#unwritten[0]; deed; deed = this.#unwritten[0]) {
      write(deed);
      this.#unwritten.shift();
    }
  }
}
