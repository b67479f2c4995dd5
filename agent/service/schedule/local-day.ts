import type { OnDays } from "../../../plans/schedule-entries.ts";
import { weekdays } from "../../../plans/schedule-entries.ts";

/** The calendar day at the site at that instant. */
export function localDay(utcMs: number, timeZone: string): Temporal.PlainDate {
  return Temporal.Instant.fromEpochMilliseconds(Math.floor(utcMs)).toZonedDateTimeISO(timeZone).toPlainDate();
}

/**
 * When the clock at the site shows that time on that day. A time that summer time skips is as much later as the clocks are
 * put forward; of one that comes twice the first counts.
 * @param localTime hh:mm
 * @returns UTC [ms]
 */
export function localInstant(day: Temporal.PlainDate, localTime: string, timeZone: string): number {
  return day.toZonedDateTime({ timeZone, plainTime: localTime }).epochMilliseconds;
}

/** Whether an entry is meant for that day. */
export function isOnDay(onDays: OnDays, day: Temporal.PlainDate): boolean {
  if (onDays === "every-day") return true;
  if ("everyDays" in onDays) {
    const { days } = Temporal.PlainDate.from(onDays.countedFrom).until(day, { largestUnit: "day" });
    return days >= 0 && days % onDays.everyDays === 0;
  }
  if ("dates" in onDays) return onDays.dates.includes(day.toString());
  return onDays.includes(weekdays[day.dayOfWeek - 1]!);
}

/** `2026-05-01 09:15`, by the clock at the site. */
export function localText(utcMs: number, timeZone: string): string {
  return Temporal.Instant.fromEpochMilliseconds(Math.round(utcMs))
    .toZonedDateTimeISO(timeZone)
    .toPlainDateTime()
    .toString({ smallestUnit: "minute", roundingMode: "floor" })
    .replace("T", " ");
}
