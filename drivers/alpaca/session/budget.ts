import type { Clock } from "../../kit/clock.ts";

/** Cleanup and signs of life have a short time of their own, and never the signal of what was just aborted. */
export async function withBudget<T>(
  clock: Clock,
  seconds: number,
  work: (signal: AbortSignal) => Promise<T>,
): Promise<T> {
  const budget = new AbortController();
  const timer = clock.setTimer(seconds, () => budget.abort(new Error(`no end within ${seconds} s`)));
  try {
    return await work(budget.signal);
  } finally {
    timer.cancel();
  }
}
