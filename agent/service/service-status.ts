import type { Progress } from "../procedures/step.ts";
import type { RestRow } from "./rest/look-at-rig.ts";
import type { ScheduleAgenda } from "./schedule/agenda.ts";
import type { Attempt } from "./schedule/attempts.ts";
import type { ScheduleSite } from "./schedule/moments.ts";

/** What the service is about, always with why, and until when where it lies still. */
export interface ServiceStatus {
  readonly state: "starting" | "recovering" | "standing by" | "running" | "held" | "stopping";
  readonly sinceUtcMs: number;
  /** A sentence without its full stop. */
  readonly because: string;
  /** When it looks again, or the next thing is due. */
  readonly untilUtcMs?: number;
  /** What a person must do; of `held`. */
  readonly whatToDo?: string;
  /** The entry that runs. */
  readonly entry?: string;
  readonly progress?: Progress;
  /** Between runs: how the rig and the computer were seen to be. */
  readonly rest?: readonly RestRow[];
  /** Why the rig can't be worked with just now; it is tried again by itself. */
  readonly trouble?: string;
  /** What is wrong with a file that was changed; the one before it is kept. */
  readonly fileTrouble?: string;
}

/** What the service would act on if it acted now. */
export interface ServiceLook {
  readonly site: ScheduleSite;
  readonly agenda: ScheduleAgenda;
  /** Of the last days, in the order in which they began. */
  readonly attempts: readonly Attempt[];
}
