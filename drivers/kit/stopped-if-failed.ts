import type { Log } from "./log.ts";
import { neverAborted } from "./never-aborted.ts";

export interface Stoppable {
  readonly device: string;
  readonly log: Log;
  /** Whether, after such an error, nobody knows if the motion goes on. */
  readonly leavesMoving: (error: unknown) => boolean;
}

/**
 * Carries a motion out; if it is aborted or nobody knows how it goes on, stops the device before the first reason
 * goes on. The stop has its own budget and never the signal that was aborted.
 */
export async function stopOnFailure<T>(
  { device, log, leavesMoving }: Stoppable,
  work: () => Promise<T>,
  stop: (signal: AbortSignal) => Promise<void>,
  signal: AbortSignal,
): Promise<T> {
  try {
    return await work();
  } catch (error) {
    if (signal.aborted || leavesMoving(error)) {
      await stop(neverAborted).catch((stopError: unknown) =>
        log.error({ device, error: String(stopError) }, "the device could not be stopped"),
      );
    }
    throw error;
  }
}
