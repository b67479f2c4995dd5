import type { FailureKind } from "../../../plans/schedule-entries.ts";
import { type ExitCode, exitCodes } from "../../run/record/exit-codes.ts";

/**
 * How an attempt ended. `refused`: nothing was begun, and nothing will be at that occasion; `not-restored` and `stopped`
 * are never followed by another attempt, nor are a `fault` of ours and a `wrong-input` of somebody's.
 */
export type AttemptEnded =
  | "done"
  | FailureKind
  | "not-restored"
  | "stopped"
  | "fault"
  | "wrong-input"
  | "refused";

/** What was done about an entry at one occasion; several when it was tried again. */
export interface Attempt {
  readonly entry: string;
  readonly occasion: string;
  readonly dueUtcMs: number;
  /** When it began, or was refused. */
  readonly begunUtcMs: number;
  /** Absent while it goes on. */
  readonly endedUtcMs?: number;
  readonly ended?: AttemptEnded;
  readonly exitCode?: number;
  readonly runId?: string;
  /** Why it was refused, or ended as it did; a sentence. */
  readonly because?: string;
}

const endings: Readonly<Record<ExitCode, AttemptEnded>> = {
  [exitCodes.done]: "done",
  [exitCodes.fault]: "fault",
  [exitCodes.wrongInput]: "wrong-input",
  [exitCodes.verdictBad]: "verdict-bad",
  [exitCodes.safety]: "safety",
  [exitCodes.deviceFailed]: "device-failed",
  [exitCodes.notRestored]: "not-restored",
  [exitCodes.nothingMade]: "nothing-made",
  [exitCodes.untold]: "done",
  [exitCodes.stopped]: "stopped",
};

/** What a run's exit code is to a schedule. */
export function endingOf(exitCode: ExitCode): AttemptEnded {
  return endings[exitCode];
}
