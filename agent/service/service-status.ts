import type { Progress } from "../procedures/step.ts";

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
  /** What is wrong with a file that was changed; the one before it is kept. */
  readonly fileTrouble?: string;
}
