import * as z from "zod";
import { mapOf, shortName, textLine } from "./fields.ts";
import { readChecked } from "./file-problems.ts";
import { type ScheduleEntry, scheduleEntry } from "./schedule-entries.ts";

/** More than a day of one rig has room for. */
const entryCountMax = 100;

export const scheduleFile = mapOf({
  schedule: shortName("the schedule's name").describe("The schedule's name."),
  about: textLine("what the schedule is for", 2000)
    .optional()
    .describe("What the schedule is for, in your words."),
  entries: z
    .array(scheduleEntry, { error: "a list of entries" })
    .min(1, { error: "a list of at least one entry" })
    .max(entryCountMax, { error: `a list of at most ${entryCountMax} entries` })
    .describe("What is due when; of two that are due at once the upper one begins first."),
}).check((ctx) => {
  const entries = ctx.value.entries as readonly ScheduleEntry[];
  entries.forEach(({ entry: name, when }, index) => {
    const above = entries.slice(0, index).map(({ entry }) => entry);
    const complain = (path: PropertyKey[], message: string, input: unknown) =>
      ctx.issues.push({ code: "custom", path: ["entries", index, ...path], message, input });
    if (above.includes(name)) complain(["entry"], "a name that no entry above has", name);
    if ("afterEntry" in when && !above.includes(when.afterEntry)) {
      const names = above.length === 0 ? "and there is none" : above.join(", ");
      complain(["when", "afterEntry"], `the name of an entry above: ${names}`, when.afterEntry);
    }
  });
});

/** A schedule as read from its file, every default filled in; entries that are due at once begin in their order here. */
export type Schedule = z.infer<typeof scheduleFile>;

/** @throws FileProblemsError naming file, line, the value found and what is allowed, all problems at once */
export function readSchedule(text: string, file: string): Schedule {
  return readChecked(text, file, scheduleFile);
}
