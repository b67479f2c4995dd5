/**
 * Time, passed in. Everything of ours counts seconds; milliseconds stay inside the clock.
 * The same agent runs on the system clock, on one that runs fast, and on a virtual one that jumps.
 */
export interface Clock {
  /** UTC, milliseconds since the Unix epoch. For the sky, dates and messages only: it may be stepped at any moment. */
  nowMs(): number;
  /** Seconds since some moment, at the pace of this clock's timers and never stepped. For spans, deadlines and ages. */
  monotonicSeconds(): number;
  /** Calls back once after that many seconds of this clock, unless cancelled. */
  setTimer(afterSeconds: number, callback: () => void): ClockTimer;
  /** Resolves after that many seconds; rejects with `signal.reason` as soon as the signal aborts. */
  sleep(seconds: number, signal?: AbortSignal): Promise<void>;
  /**
   * Names work whose end is not on this clock (a worker, a file, a child process).
   * A virtual clock stands still until it settles; others just return it.
   */
  hold<T>(work: Promise<T>): Promise<T>;
}

export interface ClockTimer {
  cancel(): void;
}

/** `sleep` for a clock that can set timers. */
export function sleepOn(
  clock: Pick<Clock, "setTimer">,
  seconds: number,
  signal?: AbortSignal,
): Promise<void> {
  return new Promise((resolve, reject) => {
    if (signal?.aborted) {
      reject(signal.reason);
      return;
    }
    const onAbort = () => {
      timer.cancel();
      reject(signal?.reason);
    };
    const timer = clock.setTimer(seconds, () => {
      signal?.removeEventListener("abort", onAbort);
      resolve();
    });
    signal?.addEventListener("abort", onAbort, { once: true });
  });
}

/** Longest delay that the runtime's own timers take without wrapping [ms]. */
const timerMsMax = 2 ** 31 - 1;

function runtimeTimer(delayMs: number, callback: () => void): ClockTimer {
  const handle = setTimeout(callback, Math.min(Math.max(0, delayMs), timerMsMax));
  return { cancel: () => clearTimeout(handle) };
}

/** The machine's own time. */
export const systemClock: Clock = {
  nowMs: () => Date.now(),
  monotonicSeconds: () => performance.now() / 1000,
  setTimer: (afterSeconds, callback) => runtimeTimer(afterSeconds * 1000, callback),
  sleep: (seconds, signal) => sleepOn(systemClock, seconds, signal),
  hold: (work) => work,
};

/**
 * Time that passes `speed` times faster than the machine's, from `startUtcMs` at machine time `epochMs`.
 * Two processes given the same three numbers agree on the time.
 */
export function acceleratedClock(options: { speed: number; startUtcMs: number; epochMs: number }): Clock {
  const { speed, startUtcMs, epochMs } = options;
  const clock: Clock = {
    nowMs: () => startUtcMs + (Date.now() - epochMs) * speed,
    monotonicSeconds: () => (performance.now() / 1000) * speed,
    setTimer: (afterSeconds, callback) => runtimeTimer((afterSeconds * 1000) / speed, callback),
    sleep: (seconds, signal) => sleepOn(clock, seconds, signal),
    hold: (work) => work,
  };
  return clock;
}
