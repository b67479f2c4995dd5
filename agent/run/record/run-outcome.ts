import type { FlatInUse } from "../../procedures/findings.ts";
import { type ExitCode, exitCodes } from "./exit-codes.ts";
import { isDeviceFailure } from "./failure-record.ts";
import { flatDoubts } from "./flat-doubts.ts";
import type { FailureRecord, RunEnded, RunVerdict, SettingRecord, StepRecord } from "./run-record.ts";

export interface RunFacts {
  readonly steps: readonly StepRecord[];
  readonly settings: readonly SettingRecord[];
  readonly failure: FailureRecord | undefined;
  readonly guardTripped: boolean;
  readonly stopAsked: boolean;
  /** The run got as far as changing the rig. */
  readonly begun: boolean;
  readonly refusedFor: "safety" | "input" | undefined;
  /** The restoring of this run or of an earlier one has not come to its end. */
  readonly notPutBack: boolean;
}

export function endedAs(facts: RunFacts): RunEnded {
  if (facts.guardTripped || facts.steps.some((step) => step.ended === "unsafe")) return "unsafe";
  if (facts.refusedFor !== undefined && !facts.begun) return "refused";
  if (facts.stopAsked) return "stopped";
  if (facts.failure !== undefined || facts.steps.some((step) => step.ended === "failed")) return "failed";
  return "completed";
}

/**
 * The verdict of the run's flat, or of an earlier one that was found to fit; `none` when it came to neither. The last flat
 * counts, as the last word; when images were taken that it does not fit it is no more than usable.
 */
export function verdictOf(steps: readonly StepRecord[], inUse?: FlatInUse): RunVerdict {
  const reused = inUse?.from === "ledger" ? inUse.verdict : "none";
  const own = flatVerdict(steps);
  const verdict = own === "none" ? reused : own;
  return verdict === "good" && flatDoubts(steps).unserved.length > 0 ? "usable" : verdict;
}

function flatVerdict(steps: readonly StepRecord[]): RunVerdict {
  for (const step of steps.toReversed()) {
    if (step.kind !== "flat") continue;
    const found = step.found as { verdict?: unknown } | undefined;
    const verdict =
      typeof found?.verdict === "object" ? (found.verdict as { verdict?: unknown })?.verdict : found?.verdict;
    if (verdict === "good" || verdict === "usable" || verdict === "bad") return verdict;
  }
  return "none";
}

/** The gravest first: a rig that is not as it was, then safety, then what went wrong, then the result. */
export function exitCodeOf(facts: RunFacts): ExitCode {
  const ended = endedAs(facts);
  if (facts.notPutBack || facts.settings.some((setting) => setting.state === "different"))
    return exitCodes.notRestored;
  if (ended === "unsafe" || (ended === "refused" && facts.refusedFor === "safety")) return exitCodes.safety;
  if (ended === "refused") return exitCodes.wrongInput;
  const failures = [facts.failure, ...facts.steps.map((step) => step.failure)].filter((f) => f !== undefined);
  if (failures.some((failure) => failure.code === "FAULT")) return exitCodes.fault;
  if (failures.some(isDeviceFailure)) return exitCodes.deviceFailed;
  if (ended === "stopped") return exitCodes.stopped;
  if (ended === "failed" || verdictOf(facts.steps) === "bad") return exitCodes.verdictBad;
  return exitCodes.done;
}
