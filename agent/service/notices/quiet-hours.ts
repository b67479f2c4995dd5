import type { NoticeKind, Receiver } from "../../../plans/notices-file.ts";
import { localDay, localInstant } from "../schedule/local-day.ts";

/** @returns until when a notice of that kind waits for the quiet to end [UTC, ms], or `undefined`: now */
export function quietUntil(
  quiet: Receiver["quiet"],
  kind: NoticeKind,
  nowUtcMs: number,
  timeZone: string,
): number | undefined {
  if (!quiet || quiet.butFor.includes(kind)) return undefined;
  const today = localDay(nowUtcMs, timeZone);
  // Quiet that began yesterday may still last.
  for (const day of [today.subtract({ days: 1 }), today]) {
    const from = localInstant(day, quiet.fromLocalTime, timeZone);
    const isPastMidnight = quiet.untilLocalTime < quiet.fromLocalTime;
    const until = localInstant(isPastMidnight ? day.add({ days: 1 }) : day, quiet.untilLocalTime, timeZone);
    if (nowUtcMs >= from && nowUtcMs < until) return until;
  }
  return undefined;
}
