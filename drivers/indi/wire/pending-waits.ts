import type { Clock } from "../../kit/clock.ts";
import { DeadlineError, type DeviceError } from "../../kit/errors.ts";

export interface WaitEnds<T> {
  done(value: T): void;
  fail(error: unknown): void;
}

export interface WaitOptions {
  readonly device: string;
  readonly what: string;
  readonly withinSeconds: number;
  readonly signal: AbortSignal;
  /** What to throw when the time is up instead of a DeadlineError. */
  readonly late?: () => DeviceError;
}

/** A started wait: it sees each event until it has ended, and is told then. */
export interface Waiting<E> {
  see?(event: E): void;
  stop?(): void;
}

interface OpenWait<E> {
  see(event: E): void;
  fail(error: unknown): void;
}

/** All that is being waited for from one source of events. Every wait ends: by news, deadline, abort or loss. */
export class PendingWaits<E> {
  readonly #open = new Set<OpenWait<E>>();

  constructor(private readonly clock: Clock) {}

  get count(): number {
    return this.#open.size;
  }

  /**
   * Starts a wait. `start` subscribes and may send a command: nothing that comes after it is missed.
   * It may call `ends` at once.
   */
  run<T>(options: WaitOptions, start: (ends: WaitEnds<T>) => Waiting<E>): Promise<T> {
    const { device, what, withinSeconds, signal, late } = options;
    return new Promise<T>((resolve, reject) => {
      if (signal.aborted) {
        reject(signal.reason);
        return;
      }
      let ended = false;
      let waiting: Waiting<E> | undefined;
      const end = (settle: () => void) => {
        if (ended) return;
        ended = true;
        this.#open.delete(wait);
        timer.cancel();
        signal.removeEventListener("abort", onAbort);
        waiting?.stop?.();
        settle();
      };
      const fail = (error: unknown) => end(() => reject(error));
      const onAbort = () => fail(signal.reason);
      const timer = this.clock.setTimer(withinSeconds, () =>
        fail(late?.() ?? new DeadlineError(device, what, withinSeconds)),
      );
      const wait: OpenWait<E> = { see: (event) => waiting?.see?.(event), fail };
      signal.addEventListener("abort", onAbort, { once: true });
      this.#open.add(wait);
      try {
        waiting = start({ done: (value) => end(() => resolve(value)), fail });
        if (ended) waiting.stop?.();
      } catch (error) {
        fail(error);
      }
    });
  }

  tell(event: E): void {
    for (const wait of [...this.#open]) wait.see(event);
  }

  failAll(error: unknown): void {
    for (const wait of [...this.#open]) wait.fail(error);
  }
}
