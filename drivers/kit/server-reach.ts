import type { Clock } from "./clock.ts";
import { UnreachableError } from "./errors.ts";

/** How long after its loss a server is waited for; from then on what needs it fails at once until it is found [s]. */
const comeBackSeconds = 60;

/** Whether a server can be reached, known once for all of its devices. Whoever holds the link tells it. */
export class ServerReach {
  #lost: { readonly atSeconds: number; readonly reason: string } | undefined;
  #nextAttemptSeconds: number | undefined;
  #returnedSeconds = Number.NEGATIVE_INFINITY;
  readonly #wakers = new Set<() => void>();

  constructor(readonly clock: Clock) {}

  /** When it was found last after a loss [s of the clock]. */
  get returnedSeconds(): number {
    return this.#returnedSeconds;
  }

  lost(reason: string): void {
    this.#lost ??= { atSeconds: this.clock.monotonicSeconds(), reason };
  }

  nextAttemptIn(seconds: number): void {
    this.#nextAttemptSeconds = this.clock.monotonicSeconds() + seconds;
  }

  found(): void {
    if (!this.#lost) return;
    this.#returnedSeconds = this.clock.monotonicSeconds();
    this.#lost = undefined;
    this.#nextAttemptSeconds = undefined;
    for (const wake of [...this.#wakers]) wake();
  }

  /** @throws UnreachableError when it has been lost for longer than it is waited for */
  check(device: string): void {
    if (this.#lost && this.#leftSeconds <= 0) throw this.#error(device);
  }

  /** Waits for its return as long as all of its devices do together. @throws UnreachableError */
  async untilFound(device: string, signal: AbortSignal): Promise<void> {
    signal.throwIfAborted();
    this.check(device);
    if (!this.#lost) return;
    const found = Promise.withResolvers<void>();
    const onAbort = () => found.reject(signal.reason);
    const timer = this.clock.setTimer(this.#leftSeconds, () => found.reject(this.#error(device)));
    this.#wakers.add(found.resolve);
    signal.addEventListener("abort", onAbort, { once: true });
    try {
      await found.promise;
    } finally {
      timer.cancel();
      this.#wakers.delete(found.resolve);
      signal.removeEventListener("abort", onAbort);
    }
  }

  get #leftSeconds(): number {
    return this.#lost ? this.#lost.atSeconds + comeBackSeconds - this.clock.monotonicSeconds() : 0;
  }

  #error(device: string): UnreachableError {
    const now = this.clock.monotonicSeconds();
    const { atSeconds, reason } = this.#lost!;
    const nextSeconds = Math.max(0, (this.#nextAttemptSeconds ?? now) - now);
    return new UnreachableError(device, reason, { lostForSeconds: now - atSeconds, nextSeconds });
  }
}
