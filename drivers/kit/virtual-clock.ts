import { type Clock, type ClockTimer, sleepOn } from "./clock.ts";

/** Nothing is left to wait for, yet the driven work has not settled: a lost wake-up, and always a bug. */
export class NothingLeftToWaitForError extends Error {
  constructor(atUtc: string) {
    super(`virtual clock: no timer is pending at ${atUtc}, yet the work has not ended`);
    this.name = "NothingLeftToWaitForError";
  }
}

/** Turns of the event loop without news after which everything counts as waiting for the clock. */
const quietTurns = 3;

/**
 * A clock that stands still while anything computes and jumps to the next timer when everything waits.
 * Only in-memory links may be used under it: bytes on a socket are invisible to it.
 */
export class VirtualClock implements Clock {
  readonly #startMs: number;
  #nowMs: number;
  #order = 0;
  readonly #held = new Set<Promise<unknown>>();
  readonly #timers: { dueMs: number; order: number; callback: () => void }[] = [];

  constructor(startUtcMs: number) {
    this.#startMs = startUtcMs;
    this.#nowMs = startUtcMs;
  }

  nowMs(): number {
    return this.#nowMs;
  }

  monotonicSeconds(): number {
    return (this.#nowMs - this.#startMs) / 1000;
  }

  setTimer(afterSeconds: number, callback: () => void): ClockTimer {
    const timer = { dueMs: this.#nowMs + Math.max(0, afterSeconds) * 1000, order: this.#order++, callback };
    this.#timers.push(timer);
    return {
      cancel: () => {
        const index = this.#timers.indexOf(timer);
        if (index >= 0) this.#timers.splice(index, 1);
      },
    };
  }

  sleep(seconds: number, signal?: AbortSignal): Promise<void> {
    return sleepOn(this, seconds, signal);
  }

  async hold<T>(work: Promise<T>): Promise<T> {
    this.#held.add(work);
    try {
      return await work;
    } finally {
      this.#held.delete(work);
    }
  }

  /** Timers that are set and not yet due; tests expect none at the end. */
  get pendingTimers(): number {
    return this.#timers.length;
  }

  /**
   * Runs `work` to its end, jumping from timer to timer.
   * @param options.speed at most this many times faster than the machine's time; default: no limit
   * @throws NothingLeftToWaitForError when the work waits for something that no timer will bring
   */
  async drive<T>(work: Promise<T>, options: { speed?: number } = {}): Promise<T> {
    let settled = false;
    const done = () => {
      settled = true;
    };
    work.then(done, done);
    const paceStartMs = Date.now();
    const virtualStartMs = this.#nowMs;
    for (;;) {
      await this.#untilQuiet(() => settled);
      if (settled) return work;
      const next = this.#takeNext();
      if (!next) throw new NothingLeftToWaitForError(new Date(this.#nowMs).toISOString());
      if (options.speed !== undefined) {
        const dueInMs = (next.dueMs - virtualStartMs) / options.speed - (Date.now() - paceStartMs);
        if (dueInMs > 0) await new Promise((resolve) => setTimeout(resolve, dueInMs));
      }
      this.#nowMs = Math.max(this.#nowMs, next.dueMs);
      next.callback();
    }
  }

  async #untilQuiet(stop: () => boolean): Promise<void> {
    for (let turn = 0; turn < quietTurns; turn++) {
      await new Promise((resolve) => setImmediate(resolve));
      if (stop()) return;
      if (this.#held.size > 0) {
        await Promise.race([...this.#held].map((work) => work.catch(() => {})));
        turn = -1;
      }
    }
  }

  #takeNext() {
    let first = 0;
    for (let i = 1; i < this.#timers.length; i++) {
      const a = this.#timers[i]!;
      const b = this.#timers[first]!;
      if (a.dueMs < b.dueMs || (a.dueMs === b.dueMs && a.order < b.order)) first = i;
    }
    return this.#timers.splice(first, 1)[0];
  }
}
