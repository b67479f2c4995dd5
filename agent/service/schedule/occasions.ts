import type { ScheduleEntry } from "../../../plans/schedule-entries.ts";
import { isOnDay, localDay } from "./local-day.ts";
import { momentsOfDay, type ScheduleSite } from "./moments.ts";

/** One time at which an entry is due. */
export interface Occasion {
  readonly entry: string;
  /** Its name beside the entry's: the day, and its number on that day. By it a restart knows what was done, not by the instant. */
  readonly occasion: string;
  readonly dueUtcMs: number;
  /** The last instant at which it may begin. */
  readonly lateUtcMs: number;
}

/** A day on which an entry is meant to be due and is not. */
export interface NoOccasion {
  readonly entry: string;
  readonly day: string;
  readonly because: string;
}

export interface FoundOccasions {
  /** In the order in which they are due; those of the same instant in that of the entries. */
  readonly occasions: readonly Occasion[];
  readonly none: readonly NoOccasion[];
}

/** A pass of the Sun, or a window past midnight, may reach into the day before or after. */
const besideDays = 1;

/** All that is due by itself within that time, both ends included, and the days of that time on which something never is. */
export function findOccasions(
  entries: readonly ScheduleEntry[],
  site: ScheduleSite,
  { fromUtcMs, toUtcMs }: { readonly fromUtcMs: number; readonly toUtcMs: number },
): FoundOccasions {
  const occasions: Occasion[] = [];
  const none: NoOccasion[] = [];
  const [first, last] = [fromUtcMs, toUtcMs].map((utcMs) => localDay(utcMs, site.timeZone)) as [
    Temporal.PlainDate,
    Temporal.PlainDate,
  ];
  const end = last.add({ days: besideDays });
  for (
    let day = first.subtract({ days: besideDays });
    Temporal.PlainDate.compare(day, end) <= 0;
    day = day.add({ days: 1 })
  ) {
    const isWithin =
      Temporal.PlainDate.compare(day, first) >= 0 && Temporal.PlainDate.compare(day, last) <= 0;
    for (const entry of entries) {
      if (!isOnDay(entry.onDays, day)) continue;
      const found = occasionsOfDay(entry, day, site);
      if (typeof found === "string") {
        if (isWithin) none.push({ entry: entry.entry, day: day.toString(), because: found });
      } else occasions.push(...found.filter(({ dueUtcMs }) => dueUtcMs >= fromUtcMs && dueUtcMs <= toUtcMs));
    }
  }
  const order = new Map(entries.map(({ entry }, index) => [entry, index]));
  occasions.sort((a, b) => a.dueUtcMs - b.dueUtcMs || order.get(a.entry)! - order.get(b.entry)!);
  return { occasions, none };
}

/** What was found of an entry's days: each costs milliseconds and never changes. */
const known = new WeakMap<ScheduleEntry, Map<string, readonly Occasion[] | string>>();
const knownDaysMost = 100;

function occasionsOfDay(
  entry: ScheduleEntry,
  day: Temporal.PlainDate,
  site: ScheduleSite,
): readonly Occasion[] | string {
  const days = known.get(entry) ?? new Map<string, readonly Occasion[] | string>();
  known.set(entry, days);
  const { latitudeDegrees, longitudeDegrees, elevationMetres, timeZone } = site;
  const key = `${day.toString()} ${latitudeDegrees} ${longitudeDegrees} ${elevationMetres} ${timeZone}`;
  const found = days.get(key) ?? computeOccasions(entry, day, site);
  if (days.size >= knownDaysMost) days.clear();
  days.set(key, found);
  return found;
}

function computeOccasions(
  { entry, when, lateMinutesMax }: ScheduleEntry,
  day: Temporal.PlainDate,
  site: ScheduleSite,
): readonly Occasion[] | string {
  if ("afterEntry" in when) return [];
  const moments = momentsOfDay(when, day, site);
  if (typeof moments === "string") return moments;
  return moments.map((dueUtcMs, index) => ({
    entry,
    occasion: "everyHours" in when ? `${day.toString()} no. ${index + 1}` : day.toString(),
    dueUtcMs,
    lateUtcMs: dueUtcMs + lateMinutesMax * 60_000,
  }));
}
