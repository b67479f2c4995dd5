import type { Receiver } from "../../../plans/notices-file.ts";
import { type Notice, urgencyOf } from "./notice.ts";
import { quietUntil } from "./quiet-hours.ts";

const hourMs = 3_600_000;

/** A notice on its way to one receiver. */
export interface Waiting {
  readonly notice: Notice;
  readonly tries: number;
  /** Not before then [UTC, ms]. */
  readonly notBeforeUtcMs: number;
}

/**
 * Which notice a receiver gets now, the most urgent first and of those the oldest, or when to look again.
 * @param sentUtcMs when it was sent what it got in the last hour
 */
export function chooseNext(
  { kinds, quiet, perHourMost }: Receiver,
  waiting: readonly Waiting[],
  sentUtcMs: readonly number[],
  nowUtcMs: number,
  timeZone: string,
): { readonly send: Waiting } | { readonly lookUtcMs: number } {
  const wanted = waiting.filter(({ notice }) => kinds === undefined || kinds.includes(notice.kind));
  const times = wanted.map(({ notice, notBeforeUtcMs }) => {
    // No wait is longer than an hour: what says so was written before the clock was set back.
    const again = notBeforeUtcMs > nowUtcMs + hourMs ? 0 : notBeforeUtcMs;
    return Math.max(again, quietUntil(quiet, notice.kind, nowUtcMs, timeZone) ?? 0);
  });
  const lookUtcMs = Math.min(...times, Number.POSITIVE_INFINITY);
  const recent = sentUtcMs
    .filter((utcMs) => utcMs > nowUtcMs - hourMs && utcMs <= nowUtcMs)
    .toSorted((a, b) => a - b);
  if (recent.length >= perHourMost)
    return { lookUtcMs: Math.max(lookUtcMs, recent[recent.length - perHourMost]! + hourMs) };
  const due = wanted
    .filter((_, index) => times[index]! <= nowUtcMs)
    .toSorted((a, b) => urgencyOf(a.notice.kind) - urgencyOf(b.notice.kind) || a.notice.id - b.notice.id);
  return due[0] ? { send: due[0] } : { lookUtcMs };
}

/** How long to wait after so many tries that failed [s]. */
export function retrySeconds(tries: number): number {
  return Math.min(3600, 15 * 2 ** Math.min(tries, 10));
}
