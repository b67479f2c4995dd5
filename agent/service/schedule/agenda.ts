import type { ScheduleEntry } from "../../../plans/schedule-entries.ts";
import type { Schedule } from "../../../plans/schedule-file.ts";
import type { Attempt } from "./attempts.ts";
import { judgeOccasion, type Standing } from "./judge-occasion.ts";
import { isOnDay } from "./local-day.ts";
import type { ScheduleSite } from "./moments.ts";
import { findOccasions, type NoOccasion, type Occasion } from "./occasions.ts";

export interface ScheduleFacts {
  readonly schedule: Schedule;
  readonly site: ScheduleSite;
  /** Of this rig, in the order in which they began; as far back as `fromUtcMs`. */
  readonly attempts: readonly Attempt[];
  readonly nowUtcMs: number;
  /** When somebody last looked at the schedule, or knew it first: what was too late by then is of no interest. */
  readonly sinceUtcMs: number;
  /** Occasions that were due earlier are of no interest any more. */
  readonly fromUtcMs: number;
  readonly toUtcMs: number;
}

export interface AgendaRow extends Occasion {
  readonly standing: Standing;
}

export interface ScheduleAgenda {
  /** Everything that is due within that time, what waits for another entry included; in order. */
  readonly rows: readonly AgendaRow[];
  readonly none: readonly NoOccasion[];
}

/** What was, is and will be due: pure, from the schedule, the Sun, the calendar and what was done so far. */
export function composeAgenda(facts: ScheduleFacts): ScheduleAgenda {
  const { schedule, site, attempts, nowUtcMs, sinceUtcMs, fromUtcMs, toUtcMs } = facts;
  const { occasions, none } = findOccasions(schedule.entries, site, { fromUtcMs, toUtcMs });
  const rows: AgendaRow[] = [];
  // An entry may only wait for one above it: in their order, those that it waits for are there.
  for (const entry of schedule.entries) {
    const own = "afterEntry" in entry.when ? occasionsAfter(entry, rows) : occasions;
    const due = own.filter((occasion) => occasion.entry === entry.entry);
    due.forEach((occasion, index) => {
      const standing = judgeOccasion(entry, occasion, {
        attempts: attempts.filter((one) => one.entry === entry.entry && one.occasion === occasion.occasion),
        nextDueUtcMs: due[index + 1]?.dueUtcMs,
        nowUtcMs,
      });
      if (standing.state !== "missed" || occasion.lateUtcMs >= sinceUtcMs)
        rows.push({ ...occasion, standing });
    });
  }
  const order = new Map(schedule.entries.map(({ entry }, index) => [entry, index]));
  rows.sort((a, b) => a.dueUtcMs - b.dueUtcMs || order.get(a.entry)! - order.get(b.entry)!);
  return { rows, none };
}

/** Due when the other has ended for good, that is when it is not tried again, in one of the ways that are named. */
function occasionsAfter(
  { entry, when, onDays, lateMinutesMax }: ScheduleEntry,
  rows: readonly AgendaRow[],
): Occasion[] {
  if (!("afterEntry" in when)) return [];
  return rows.flatMap((row): Occasion[] => {
    if (row.entry !== when.afterEntry || row.standing.state !== "ended") return [];
    const { ended, endedUtcMs } = row.standing.last;
    if (!when.endedAs.some((way) => way === ended)) return [];
    if (!isOnDay(onDays, Temporal.PlainDate.from(row.occasion.slice(0, 10)))) return [];
    const dueUtcMs = endedUtcMs! + when.minutesLater * 60_000;
    return [{ entry, occasion: row.occasion, dueUtcMs, lateUtcMs: dueUtcMs + lateMinutesMax * 60_000 }];
  });
}

/** What a service has to do now. */
export type NextDeed =
  | { readonly deed: "begin"; readonly row: AgendaRow }
  /** Written down as refused, so that every occasion has a word said of it. */
  | { readonly deed: "refuse"; readonly row: AgendaRow; readonly because: string }
  | { readonly deed: "wait"; readonly untilUtcMs: number; readonly because: string };

/** The first of what is to be done. One run at a time: what is due beside it waits, and may become too late. */
export function nextDeed({ rows }: ScheduleAgenda, toUtcMs: number): NextDeed {
  for (const row of rows)
    if (row.standing.state === "missed")
      return { deed: "refuse", row, because: `${row.entry} was left out: ${row.standing.because}` };
  const due = rows.find(({ standing }) => standing.state === "due");
  if (due) return { deed: "begin", row: due };
  let next: { untilUtcMs: number; because: string } | undefined;
  for (const { entry, standing } of rows) {
    if (standing.state !== "waiting" || (next && next.untilUtcMs <= standing.untilUtcMs)) continue;
    const why = standing.because === "it is not due yet" ? "is due" : "is tried again";
    next = { untilUtcMs: standing.untilUtcMs, because: `the next thing, ${entry}, ${why}` };
  }
  if (next) return { deed: "wait", ...next };
  return { deed: "wait", untilUtcMs: toUtcMs, because: "nothing of the schedule is due" };
}
