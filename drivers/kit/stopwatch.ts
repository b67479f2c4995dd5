import type { Clock } from "./clock.ts";

/** @returns seconds that have passed on this clock since the call, whatever becomes of its wall time */
export function startStopwatch(clock: Pick<Clock, "monotonicSeconds">): () => number {
  const startSeconds = clock.monotonicSeconds();
  return () => clock.monotonicSeconds() - startSeconds;
}
