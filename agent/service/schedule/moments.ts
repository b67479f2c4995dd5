import type { When } from "../../../plans/schedule-entries.ts";
import { sunAbove, sunDay } from "../../sky/sun-day.ts";
import type { GroundSite } from "../../sky/sun-from-site.ts";
import { localInstant } from "./local-day.ts";

/** Where and by which clock days are told. */
export interface ScheduleSite extends GroundSite {
  readonly timeZone: string;
}

/** What is due by itself, without another entry. */
export type WhenOfDay = Exclude<When, { readonly afterEntry: string }>;

const hourMs = 3_600_000;
/** Nearer to the lower culmination the Sun does not cross an altitude: it stays on its side of it. */
const culminationMs = 1000;

/**
 * When an entry is due on one day at the site.
 * The Sun's day is the pass whose transit is nearest to the day's noon by the clock: what it crosses belongs to it, though
 * near a pole the clock may show the day before or after.
 * @returns UTC [ms], in order; or why there is none on that day
 */
export function momentsOfDay(
  when: WhenOfDay,
  day: Temporal.PlainDate,
  site: ScheduleSite,
): readonly number[] | string {
  const { timeZone } = site;
  if ("localTime" in when) return [localInstant(day, when.localTime, timeZone)];
  if ("everyHours" in when) return momentsWithin(when, day, timeZone);
  const pass = sunDay(localInstant(day, "12:00", timeZone), site);
  if ("minutesFromTransit" in when) return [pass.transitUtcMs + when.minutesFromTransit * 60_000];
  const rises = "sunRisesPastDegrees" in when;
  const altitude = rises ? when.sunRisesPastDegrees : when.sunSetsPastDegrees;
  const above = sunAbove(pass.transitUtcMs, site, altitude);
  if (!above) return `the Sun rises to ${pass.transitAltitudeDegrees.toFixed(1)}° at most`;
  const utcMs = rises ? above.fromUtcMs : above.toUtcMs;
  const fromCulminationMs = Math.abs(utcMs - (rises ? pass.startUtcMs : pass.endUtcMs));
  return fromCulminationMs > culminationMs ? [utcMs] : `the Sun stays above ${altitude}° all day`;
}

function momentsWithin(
  { everyHours, fromLocalTime, untilLocalTime }: Extract<When, { readonly everyHours: number }>,
  day: Temporal.PlainDate,
  timeZone: string,
): number[] {
  const fromUtcMs = localInstant(day, fromLocalTime, timeZone);
  const lastDay = untilLocalTime > fromLocalTime ? day : day.add({ days: 1 });
  const untilUtcMs = localInstant(lastDay, untilLocalTime, timeZone);
  const moments: number[] = [];
  for (let n = 0; fromUtcMs + n * everyHours * hourMs <= untilUtcMs; n++)
    moments.push(fromUtcMs + n * everyHours * hourMs);
  return moments;
}
