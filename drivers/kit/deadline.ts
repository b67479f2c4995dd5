import type { Clock } from "./clock.ts";
import { DeadlineError } from "./errors.ts";

/**
 * Runs `work` with a signal that aborts when the caller's does or when the time is up.
 * The deadline runs on our clock, not on a library's timers; the first reason wins.
 * @throws DeadlineError when the time is up, even if the work ignores its signal
 */
export async function withDeadline<T>(
  clock: Clock,
  options: { device: string; what: string; withinSeconds: number; signal: AbortSignal },
  work: (signal: AbortSignal) => Promise<T>,
): Promise<T> {
  const { device, what, withinSeconds, signal } = options;
  signal.throwIfAborted();
  const local = new AbortController();
  const onAbort = () => local.abort(signal.reason);
  signal.addEventListener("abort", onAbort, { once: true });
  const timer = clock.setTimer(withinSeconds, () =>
    local.abort(new DeadlineError(device, what, withinSeconds)),
  );
  const aborted = new Promise<never>((_, reject) => {
    local.signal.addEventListener("abort", () => reject(local.signal.reason), { once: true });
  });
  aborted.catch(() => {});
  try {
    return await Promise.race([work(local.signal), aborted]);
  } finally {
    timer.cancel();
    signal.removeEventListener("abort", onAbort);
  }
}
