import { dirname, resolve } from "node:path";
import type { RigFile } from "../../plans/rig-file.ts";
import type { LoadedSchedule } from "../service/schedule/loaded-schedule.ts";
import type { ScheduleSite } from "../service/schedule/moments.ts";
import { wrongInput } from "./outcome.ts";
import { planFromFile, scheduleFromFile } from "./rig-from-file.ts";

/** A schedule and the plans beside it. @throws CommandError with every problem of the first file that has any */
export function loadSchedule(file: string): LoadedSchedule {
  const schedule = scheduleFromFile(file);
  const plans = schedule.entries.map(({ entry, plan }) => {
    return [entry, planFromFile(resolve(dirname(file), plan))] as const;
  });
  return { schedule, plans: new Map(plans) };
}

/** @throws CommandError where the rig file does not say by which clock the site goes */
export function siteOfSchedule({ site }: RigFile, rigPath: string): ScheduleSite {
  const { timeZone } = site;
  if (timeZone !== undefined) return { ...site, timeZone };
  throw wrongInput(
    "Nothing on the rig was touched.",
    `${rigPath} does not say in which time zone the site is, and a schedule goes by its days.`,
    "Add `timeZone` under `site`, by its name in the IANA list, such as Europe/Zurich.",
  );
}
