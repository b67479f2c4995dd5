import * as z from "zod";
import {
  dayOrTimeUtcMs,
  mapOf,
  numberFrom,
  oneOf,
  parsePart,
  schemaInFile,
  shortName,
  textLine,
  wholeFrom,
} from "./fields.ts";

/** How a run that did not come to its result ended, and may be tried again; never one after which the rig was not as found. */
export const failureKinds = ["verdict-bad", "safety", "device-failed", "nothing-made", "cut-short"] as const;
export type FailureKind = (typeof failureKinds)[number];

export const weekdays = [
  "monday",
  "tuesday",
  "wednesday",
  "thursday",
  "friday",
  "saturday",
  "sunday",
] as const;

const altitude = numberFrom(-10, 85, "degrees");

const localTimeText = "a time of day, written hh:mm in quotes, from 00:00 to 23:59";
/** By the clock on the wall at the site. */
const localTime = z
  .string({ error: localTimeText })
  .regex(/^([01]\d|2[0-3]):[0-5]\d$/, { error: localTimeText });

const calendarDayText = "a day that exists, written YYYY-MM-DD";
const calendarDay = z
  .string({ error: calendarDayText })
  .refine((text) => text.length === 10 && !Number.isNaN(dayOrTimeUtcMs(text)), { error: calendarDayText });

/** What makes an entry due, by the key that stands first. */
const whenForms = {
  sunRisesPastDegrees: mapOf({
    sunRisesPastDegrees: altitude.describe(
      "The disc's centre, with refraction, on its way up through that altitude.",
    ),
  }),
  sunSetsPastDegrees: mapOf({
    sunSetsPastDegrees: altitude.describe("The same on its way down."),
  }),
  localTime: mapOf({ localTime: localTime.describe("By the clock at the site.") }),
  minutesFromTransit: mapOf({
    minutesFromTransit: numberFrom(-720, 720, "minutes, before transit negative").describe(
      "After the Sun's transit, before it if negative.",
    ),
  }),
  everyHours: mapOf({
    everyHours: numberFrom(0.25, 24, "hours").describe(
      "Counted from the window's beginning, in hours that pass.",
    ),
    fromLocalTime: localTime.describe("When the window begins."),
    untilLocalTime: localTime.describe(
      "When it ends; a window past midnight belongs to the day on which it begins.",
    ),
  }).refine((when) => when.fromLocalTime !== when.untilLocalTime, {
    error: "two times that differ in fromLocalTime and untilLocalTime",
  }),
  afterEntry: mapOf({
    afterEntry: shortName("the name of an entry above").describe(
      "An entry above, when it has ended and is not tried again that day.",
    ),
    endedAs: z
      .array(oneOf(["done", ...failureKinds]), { error: "a list of how it may have ended" })
      .min(1, { error: "at least one of the ways to end" })
      .default(["done"])
      .describe("How that one must have ended; `done` if left out."),
    minutesLater: numberFrom(0, 1440, "minutes").default(0).describe("After its end."),
  }),
} as const;

type WhenKind = keyof typeof whenForms;
/** One of the forms, told apart by the key that it has. */
export type When = { [Kind in WhenKind]: z.infer<(typeof whenForms)[Kind]> }[WhenKind];

const whenKinds = Object.keys(whenForms) as WhenKind[];
const allowedWhen = `a map with one of ${whenKinds.join(", ")}`;

const when = z
  .unknown()
  .meta({ ...schemaInFile(z.union(Object.values(whenForms))), description: "What makes it due." })
  .transform((entry, ctx): When => {
    const keys =
      entry !== null && typeof entry === "object" && !Array.isArray(entry) ? Object.keys(entry) : [];
    const kinds = whenKinds.filter((kind) => keys.includes(kind));
    if (kinds.length !== 1) {
      ctx.issues.push({ code: "custom", message: allowedWhen, input: entry, path: [] });
      return z.NEVER;
    }
    return parsePart(whenForms[kinds[0]!], entry, ctx) as When;
  });

const allowedDays = `every-day, a list of ${weekdays.join(", ")}, or a map with everyDays and countedFrom, or with dates`;
const dayForms = {
  everyDays: mapOf({
    everyDays: wholeFrom(1, 400, "days").describe("Every so many days."),
    countedFrom: calendarDay.describe("The first of those days."),
  }),
  dates: mapOf({
    dates: z
      .array(calendarDay, { error: `a list of days, each ${calendarDayText}` })
      .min(1, { error: "a list of at least one day" })
      .describe("On these days alone."),
  }),
} as const;
const weekdayList = z
  .array(oneOf(weekdays), { error: allowedDays })
  .min(1, { error: "a list of at least one day of the week" });

/** The days on which an entry is due, by the calendar at the site. */
export type OnDays =
  | "every-day"
  | readonly (typeof weekdays)[number][]
  | { readonly everyDays: number; readonly countedFrom: string }
  | { readonly dates: readonly string[] };

const onDays = z
  .unknown()
  .meta(schemaInFile(z.union([z.literal("every-day"), weekdayList, dayForms.everyDays, dayForms.dates])))
  .transform((days, ctx): OnDays => {
    if (days === "every-day") return days;
    if (Array.isArray(days)) return parsePart(weekdayList, days, ctx);
    const form = (["everyDays", "dates"] as const).find(
      (key) => days !== null && typeof days === "object" && key in days,
    );
    if (form) return parsePart(dayForms[form], days, ctx) as OnDays;
    ctx.issues.push({ code: "custom", message: allowedDays, input: days, path: [] });
    return z.NEVER;
  });

const plainConditions = ["no-kept-flat", "train-changed", "last-verdict-not-good"] as const;
const olderThan = mapOf({
  lastFlatOlderThanHours: numberFrom(0.1, 10_000, "hours").describe("The newest flat of the rig is older."),
});
export type Condition = (typeof plainConditions)[number] | z.infer<typeof olderThan>;

const allowedCondition = `one of ${plainConditions.join(", ")}, or a map with lastFlatOlderThanHours`;
const condition = z
  .unknown()
  .meta(schemaInFile(z.union([z.enum(plainConditions), olderThan])))
  .transform((entry, ctx): Condition => {
    const plain = plainConditions.find((word) => word === entry);
    if (plain) return plain;
    if (entry !== null && typeof entry === "object" && !Array.isArray(entry))
      return parsePart(olderThan, entry, ctx);
    ctx.issues.push({ code: "custom", message: allowedCondition, input: entry, path: [] });
    return z.NEVER;
  });

export const scheduleEntry = mapOf({
  entry: shortName("the entry's name").describe("Its name, by which others wait for it."),
  plan: textLine("the path of a plan file, beside this file", 500).describe(
    "The path of a plan file, beside the schedule's own.",
  ),
  when,
  onDays: onDays
    .default("every-day")
    .describe("The days on which it is due, by the calendar at the site; every day if left out."),
  lateMinutesMax: numberFrom(0, 1440, "minutes")
    .default(60)
    .describe("How late it may still begin; after that it is left out for this time."),
  onlyIfAny: z
    .array(condition, { error: `a list, each ${allowedCondition}` })
    .min(1, { error: "a list of at least one condition" })
    .optional()
    .describe("Begins only if one of these holds; left out, in any case."),
  again: mapOf({
    timesMost: wholeFrom(1, 20, "times").describe("How often at most, after the first time."),
    afterMinutes: numberFrom(1, 720, "minutes").default(15).describe("How long after it has failed."),
    afterFailures: z
      .array(oneOf(failureKinds), { error: `a list of ${failureKinds.join(", ")}` })
      .min(1, { error: "at least one kind of failure" })
      .default(["safety", "device-failed", "cut-short"])
      .describe(
        "After which failures; safety, device-failed and cut-short if left out, never a rig that could not be put back.",
      ),
  })
    .optional()
    .describe("Whether it is tried again, within `lateMinutesMax` as the first time."),
});

export type ScheduleEntry = z.infer<typeof scheduleEntry>;
