import type { Clock } from "../../kit/clock.ts";
import { DeadlineError } from "../../kit/errors.ts";
import { startStopwatch } from "../../kit/stopwatch.ts";
import { isSilence } from "../wire/errors.ts";

export interface WaitOptions {
  readonly clock: Clock;
  readonly device: string;
  /** What is waited for, for the deadline's message. */
  readonly what: string;
  readonly withinSeconds: number;
  /** When the end is foreseen, from now; nobody asks before. Default 0: it may be over already. */
  readonly expectSeconds?: number;
  /** How late the end may be noticed at least; the later it is, the more seldom it is asked [s]. Default 0.2. */
  readonly precisionSeconds?: number;
  /** The longest pause between two looks [s]. Default 1. */
  readonly pauseSecondsMax?: number;
  /** How long the server may be silent in between before the wait is given up [s]. Default 15. */
  readonly silenceSecondsMax?: number;
}

/** Pauses grow with the time that the end is overdue, by this part of it: noticed late, but never by much. */
const pauseGrowth = 0.15;

/**
 * Asks until `look` gives something, seldom enough for a serial line and often enough for the precision asked.
 * Looks only read, so one that fails on the way is made again until the server was silent for too long.
 * @throws DeadlineError, DeviceLostError after that silence, and at once what the device itself says no with
 */
export async function waitUntil<T>(
  options: WaitOptions,
  look: (signal: AbortSignal) => Promise<T | undefined>,
  signal: AbortSignal,
): Promise<T> {
  const { clock, device, what, withinSeconds } = options;
  const { expectSeconds = 0, precisionSeconds = 0.2, pauseSecondsMax = 1, silenceSecondsMax = 15 } = options;
  const elapsedSeconds = startStopwatch(clock);
  let silentSinceSeconds: number | undefined;
  if (expectSeconds > 0) await clock.sleep(Math.min(expectSeconds, withinSeconds), signal);
  for (;;) {
    try {
      const seen = await look(signal);
      if (seen !== undefined) return seen;
      silentSinceSeconds = undefined;
    } catch (error) {
      if (signal.aborted || !isSilence(error)) throw error;
      silentSinceSeconds ??= elapsedSeconds();
      if (elapsedSeconds() - silentSinceSeconds >= silenceSecondsMax) throw error;
    }
    const now = elapsedSeconds();
    if (now >= withinSeconds) throw new DeadlineError(device, what, withinSeconds);
    const grown = Math.max(precisionSeconds, pauseGrowth * (now - expectSeconds));
    const pause = silentSinceSeconds === undefined ? Math.min(grown, pauseSecondsMax) : 1;
    await clock.sleep(Math.min(pause, Math.max(withinSeconds - now, 0.01)), signal);
  }
}
