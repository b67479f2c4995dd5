import { expect, test } from "vitest";
import type { FileProblemsError } from "../../plans/file-problems.ts";
import { readSchedule } from "../../plans/schedule-file.ts";
import type { BrokenFile } from "./broken-files.ts";

const good = `schedule: each-clear-day
about: A flat in the morning, images after it.
entries:
  - entry: morning-flat
    plan: first-flat.yaml
    when: { sunRisesPastDegrees: 25 }
    onlyIfAny: [train-changed, { lastFlatOlderThanHours: 48 }]
    again: { timesMost: 2, afterMinutes: 20 }
  - entry: midday
    plan: images.yaml
    when: { everyHours: 2, fromLocalTime: "09:00", untilLocalTime: "17:00" }
    onDays: [saturday, sunday]
    lateMinutesMax: 30
  - entry: after-flat
    plan: images.yaml
    when: { afterEntry: morning-flat }
`;

const hhmm = "a time of day, written hh:mm in quotes, from 00:00 to 23:59";
const broken: readonly BrokenFile[] = [
  {
    fault: "no way to be due",
    change: ["{ sunRisesPastDegrees: 25 }", "{}"],
    line: 6,
    message:
      "`entries[1].when` is {}; allowed: a map with one of sunRisesPastDegrees, sunSetsPastDegrees, localTime, minutesFromTransit, everyHours, afterEntry",
  },
  {
    fault: "two ways to be due",
    change: ["{ sunRisesPastDegrees: 25 }", "{ sunRisesPastDegrees: 25, minutesFromTransit: 3 }"],
    line: 6,
    message:
      '`entries[1].when` is {"sunRisesPastDegrees":25,"minutesFromTransit":3}; allowed: a map with one of sunRisesPastDegrees, sunSetsPastDegrees, localTime, minutesFromTransit, everyHours, afterEntry',
  },
  {
    fault: "a time of day that YAML reads as a number of minutes",
    change: ['"09:00"', "9"],
    line: 11,
    message: `\`entries[2].when.fromLocalTime\` is 9; allowed: ${hhmm}`,
  },
  {
    fault: "a time of day that no clock shows",
    change: ['"17:00"', '"24:00"'],
    line: 11,
    message: `\`entries[2].when.untilLocalTime\` is "24:00"; allowed: ${hhmm}`,
  },
  {
    fault: "a misspelt day",
    change: ["saturday", "satrday"],
    line: 12,
    message:
      '`entries[2].onDays[1]` is "satrday"; allowed: monday, tuesday, wednesday, thursday, friday, saturday, sunday',
  },
  {
    fault: "a day that is not in the calendar",
    change: ["[saturday, sunday]", "{ dates: [2027-02-29] }"],
    line: 12,
    message: '`entries[2].onDays.dates[1]` is "2027-02-29"; allowed: a day that exists, written YYYY-MM-DD',
  },
  {
    fault: "an entry that waits for none above it",
    change: ["afterEntry: morning-flat", "afterEntry: evening"],
    line: 16,
    message:
      '`entries[3].when.afterEntry` is "evening"; allowed: the name of an entry above: morning-flat, midday',
  },
  {
    fault: "a name twice",
    change: ["entry: midday", "entry: morning-flat"],
    line: 9,
    message: '`entries[2].entry` is "morning-flat"; allowed: a name that no entry above has',
  },
  {
    fault: "an unknown condition",
    change: ["train-changed", "train-chnged"],
    line: 7,
    message:
      '`entries[1].onlyIfAny[1]` is "train-chnged"; allowed: one of no-kept-flat, train-changed, last-verdict-not-good, or a map with lastFlatOlderThanHours',
  },
  {
    fault: "trying again after the rig was not put back",
    change: ["afterMinutes: 20", "afterFailures: [not-restored]"],
    line: 8,
    message:
      '`entries[1].again.afterFailures[1]` is "not-restored"; allowed: verdict-bad, safety, device-failed, nothing-made, cut-short',
  },
  {
    fault: "a misspelt key",
    change: ["lateMinutesMax", "lateMinutesMost"],
    line: 13,
    message:
      "unknown key `lateMinutesMost` in `entries[2]` (did you mean `lateMinutesMax`?); allowed: entry, plan, when, onDays, lateMinutesMax, onlyIfAny, again",
  },
];

test("a good schedule has every default filled in", () => {
  const [flat, midday, after] = readSchedule(good, "s.yaml").entries;
  expect(flat).toMatchObject({
    onDays: "every-day",
    lateMinutesMax: 60,
    again: { timesMost: 2, afterMinutes: 20, afterFailures: ["safety", "device-failed", "cut-short"] },
  });
  expect(midday!.again).toBeUndefined();
  expect(after!.when).toEqual({ afterEntry: "morning-flat", endedAs: ["done"], minutesLater: 0 });
});

test.each(broken)("a schedule with $fault gets one message with line, value and what is allowed", (one) => {
  const [find, put] = one.change;
  expect(good).toContain(find);
  let problems: unknown;
  try {
    readSchedule(good.replace(find, put), "s.yaml");
  } catch (error) {
    problems = (error as FileProblemsError).problems;
  }
  expect(problems).toEqual([{ file: "s.yaml", line: one.line, message: one.message }]);
});
