import type { Clock } from "./clock.ts";
import { DeadlineError } from "./errors.ts";

/** A slow answer is forgotten in this time [s]. */
const memorySeconds = 30;
/** A deadline's growth for each second of round trip, and its bound [s]. */
const growth = 3;
const deadlineSecondsMax = 30;

/** How long questions wait for their answers: the worst of late, forgotten slowly while better ones come. */
export class RoundTrip {
  readonly #openSince = new Set<{ readonly atSeconds: number }>();
  #unanswered = 0;
  #worst = { seconds: 0, atSeconds: 0 };

  constructor(readonly clock: Pick<Clock, "monotonicSeconds">) {}

  /** 0 before anything was asked. A question that is still open counts with its age. */
  get seconds(): number {
    const now = this.clock.monotonicSeconds();
    const ages = [...this.#openSince].map(({ atSeconds }) => now - atSeconds);
    return Math.max(this.#worst.seconds, ...ages);
  }

  note(seconds: number): void {
    const atSeconds = this.clock.monotonicSeconds();
    const forgotten = 1 - Math.exp(-(atSeconds - this.#worst.atSeconds) / memorySeconds);
    const lower = this.#worst.seconds + (seconds - this.#worst.seconds) * forgotten;
    this.#worst = { seconds: Math.max(seconds, lower), atSeconds };
  }

  /** One question until its answer, or until its deadline. */
  async measure<T>(ask: () => Promise<T>): Promise<T> {
    const atSeconds = this.clock.monotonicSeconds();
    const open = { atSeconds };
    const note = () => this.note(this.clock.monotonicSeconds() - atSeconds);
    this.#openSince.add(open);
    try {
      const answer = await ask();
      this.#unanswered = 0;
      note();
      return answer;
    } catch (error) {
      // One answer may be lost; two in a row are late.
      if (error instanceof DeadlineError && ++this.#unanswered > 1) note();
      throw error;
    } finally {
      this.#openSince.delete(open);
    }
  }
}

/** What a question's deadline grows to on a slow link [s]. */
export function deadlineOver(roundTripSeconds: number, quickSeconds: number): number {
  return Math.max(quickSeconds, Math.min(deadlineSecondsMax, quickSeconds + growth * roundTripSeconds));
}
