import type { Plan } from "../../../plans/plan-file.ts";
import type { Schedule } from "../../../plans/schedule-file.ts";

/** A schedule with the plans that its entries name. */
export interface LoadedSchedule {
  readonly schedule: Schedule;
  /** By the entry's name. */
  readonly plans: ReadonlyMap<string, Plan>;
}
