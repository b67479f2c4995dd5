import { acceleratedClock, type Clock } from "../../drivers/kit/clock.ts";

/** The three numbers that make the clocks of two processes agree. */
export interface SharedTime {
  readonly speed: number;
  readonly startUtcMs: number;
  readonly epochMs: number;
}

/** What a child process of the campaign is told on its command line, as JSON. */
export function told<T>(): T {
  return JSON.parse(process.argv[2] ?? "{}") as T;
}

export function sharedClock(time: SharedTime): Clock {
  return acceleratedClock(time);
}
