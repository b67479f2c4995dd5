import type { Clock } from "../../kit/clock.ts";
import { withDeadline } from "../../kit/deadline.ts";
import type { ServerReach } from "../../kit/server-reach.ts";

/** A server that does not answer is asked again after pauses that double [s]. */
const firstPauseSeconds = 0.5;
const lastPauseSeconds = 5;
const answerSeconds = 5;

/** Asks a server itself when one of its devices got no answer, until it is there: one effort for all of them. */
export class ServerLookout {
  readonly #closing = new AbortController();
  #looking: Promise<void> | undefined;

  constructor(
    readonly server: string,
    readonly clock: Clock,
    readonly reach: ServerReach,
    /** Any reply will do: whoever answers is there. */
    readonly ask: (signal: AbortSignal) => Promise<unknown>,
  ) {}

  /** One device that is slow or dead says nothing of the others, so the server counts as lost only if it is silent too. */
  look(reason: string): void {
    if (this.#closing.signal.aborted) return;
    this.#looking ??= this.#untilAnswered(reason).finally(() => {
      this.#looking = undefined;
    });
  }

  async #untilAnswered(reason: string): Promise<void> {
    const { signal } = this.#closing;
    for (let pauseSeconds = firstPauseSeconds; !signal.aborted; ) {
      if (await this.#isAnswered(signal)) {
        this.reach.found();
        return;
      }
      this.reach.lost(reason);
      this.reach.nextAttemptIn(pauseSeconds);
      await this.clock.sleep(pauseSeconds, signal).catch(() => {});
      pauseSeconds = Math.min(2 * pauseSeconds, lastPauseSeconds);
    }
  }

  async #isAnswered(signal: AbortSignal): Promise<boolean> {
    const wait = { device: this.server, what: "a sign of life", withinSeconds: answerSeconds, signal };
    try {
      await withDeadline(this.clock, wait, this.ask);
      return true;
    } catch {
      return false;
    }
  }

  async close(): Promise<void> {
    this.#closing.abort();
    await this.#looking;
  }
}
