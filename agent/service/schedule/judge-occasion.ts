import { type FailureKind, failureKinds, type ScheduleEntry } from "../../../plans/schedule-entries.ts";
import type { Attempt } from "./attempts.ts";
import type { Occasion } from "./occasions.ts";

/** What is to be done about one occasion now. */
export type Standing =
  | { readonly state: "waiting"; readonly untilUtcMs: number; readonly because: string }
  | { readonly state: "due" }
  | { readonly state: "running" }
  | { readonly state: "ended"; readonly last: Attempt }
  /** Nothing has been written down of it, and nothing will be begun. */
  | { readonly state: "missed"; readonly because: string };

export interface OccasionFacts {
  /** Of this occasion, in the order in which they began. */
  readonly attempts: readonly Attempt[];
  /** Of the same entry, if there is one. */
  readonly nextDueUtcMs?: number | undefined;
  readonly nowUtcMs: number;
}

/** Where an occasion stands: pure, and the same after a restart. */
export function judgeOccasion(
  { again, lateMinutesMax }: Pick<ScheduleEntry, "again" | "lateMinutesMax">,
  { dueUtcMs, lateUtcMs }: Pick<Occasion, "dueUtcMs" | "lateUtcMs">,
  { attempts, nextDueUtcMs, nowUtcMs }: OccasionFacts,
): Standing {
  const last = attempts.at(-1);
  if (last && last.endedUtcMs === undefined) return { state: "running" };
  if (last) {
    const againUtcMs = againAt(again, attempts, last);
    if (againUtcMs === undefined || againUtcMs > lateUtcMs || nowUtcMs > lateUtcMs)
      return { state: "ended", last };
    if (nextDueUtcMs !== undefined && nextDueUtcMs <= Math.max(nowUtcMs, againUtcMs))
      return { state: "ended", last };
    const because = `it ended as ${last.ended} and is tried again`;
    return againUtcMs > nowUtcMs ? { state: "waiting", untilUtcMs: againUtcMs, because } : { state: "due" };
  }
  if (nowUtcMs < dueUtcMs) return { state: "waiting", untilUtcMs: dueUtcMs, because: "it is not due yet" };
  if (nextDueUtcMs !== undefined && nextDueUtcMs <= nowUtcMs)
    return { state: "missed", because: "the next time is due already" };
  if (nowUtcMs <= lateUtcMs) return { state: "due" };
  return {
    state: "missed",
    because: `it may begin ${lateMinutesMax} minutes late at most, and was not begun by then`,
  };
}

function againAt(
  again: ScheduleEntry["again"],
  attempts: readonly Attempt[],
  { ended, endedUtcMs }: Attempt,
): number | undefined {
  if (!again || !isFailureKind(ended) || !again.afterFailures.includes(ended)) return undefined;
  if (attempts.length > again.timesMost) return undefined;
  return endedUtcMs! + again.afterMinutes * 60_000;
}

function isFailureKind(ended: Attempt["ended"]): ended is FailureKind {
  return failureKinds.some((kind) => kind === ended);
}
