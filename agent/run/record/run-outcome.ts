import type { FlatInUse } from "../../procedures/findings.ts";
import { type ExitCode, exitCodes } from "./exit-codes.ts";
import { isDeviceFailure } from "./failure-record.ts";
import { imageWarnings } from "./flat-doubts.ts";
import { lastStepResult } from "./found-in-record.ts";
import type { RunFacts } from "./run-facts.ts";
import type { RunEnded, RunVerdict, StepRecord } from "./run-record.ts";

/** Whatever else happened: that it was not safe is told before all. */
export function runEnding(facts: RunFacts): RunEnded {
  if (facts.unsafe) return "unsafe";
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
  const own = lastStepResult({ steps }, "flat")?.verdict ?? "none";
  const verdict = own === "none" ? reused : own;
  return verdict === "good" && imageWarnings(steps).unserved.length > 0 ? "usable" : verdict;
}

/** The gravest first: a rig that is not as it was, then safety, then what went wrong, then the result. */
export function exitCodeOf(facts: RunFacts): ExitCode {
  const ended = runEnding(facts);
  if (facts.notPutBack || facts.settings?.some((setting) => setting.state === "different"))
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
