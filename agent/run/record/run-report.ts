import { given } from "../../../drivers/kit/given.ts";
import type { FlatInUse } from "../../procedures/findings.ts";
import { isDiskFailure } from "./disk-trouble.ts";
import { type ExitCode, exitCodes } from "./exit-codes.ts";
import { isDeviceFailure } from "./failure-record.ts";
import { imageWarnings } from "./flat-doubts.ts";
import { lastStepResult } from "./found-in-record.ts";
import type { RunFacts } from "./run-facts.ts";
import type {
  LeftOnRig,
  RunEnded,
  RunRecord,
  RunReport,
  RunVerdict,
  SettingRecord,
  StepRecord,
} from "./run-record.ts";

/** How it ended, as far as it is known now. */
export function reportOf(facts: RunFacts): RunReport {
  const record = composeRecord(facts);
  const { folder } = facts.setting;
  const { ended, verdict, exitCode, leftOnRig, settings, failure } = record;
  const notAsFound = settings.filter((setting) => setting.state !== "same");
  const { unwritten } = facts;
  const report = { ended, verdict, exitCode, leftOnRig, notAsFound, folder, unwritten, record };
  return { ...report, ...given({ failure }) };
}

function composeRecord(facts: RunFacts): RunRecord {
  const { runId, startedUtcMs, plan, rigFile, unattended } = facts.setting;
  const { journal, settings = [], findings } = facts;
  const { unhealthyPx, ...kept } = findings;
  return {
    runId,
    plan,
    rig: rigFile,
    trainMark: facts.train?.mark,
    unattended,
    startedUtcMs,
    endedUtcMs: journal.clock.nowMs(),
    devices: facts.devices,
    steps: [...facts.steps],
    settings,
    lapses: [...facts.lapses],
    guardEvents: [...facts.guardEvents],
    timeline: [...journal.timeline],
    findings: unhealthyPx
      ? { ...kept, unhealthyPxCount: unhealthyPx.reduce((sum, one) => sum + one, 0) }
      : kept,
    files: facts.files,
    ended: runEnding(facts),
    verdict: verdictOf(facts.steps, findings.flatInUse),
    exitCode: exitCodeOf(facts),
    leftOnRig: leftOnRig(settings),
    ...given({ safety: facts.safety, failure: facts.failure }),
  };
}

/** From what was read back at the end; nothing is assumed. */
function leftOnRig(settings: readonly SettingRecord[]): LeftOnRig {
  const left: { -readonly [role in keyof LeftOnRig]: string } = {};
  for (const { role, key, after, state } of settings) {
    if (role === "cover") {
      if (key === "position") left.cover = after === undefined ? "unknown" : String(after);
    } else if (after === undefined) left[role] = "unknown";
    else if (state !== "same" && left[role] !== "unknown") left[role] = "not as it was found";
    else left[role] ??= "as it was found";
  }
  return left;
}

/** Whatever else happened: that it was not safe is told before all. */
function runEnding(facts: RunFacts): RunEnded {
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
function verdictOf(steps: readonly StepRecord[], inUse?: FlatInUse): RunVerdict {
  const reused = inUse?.from === "ledger" ? inUse.verdict : "none";
  const own = lastStepResult({ steps }, "flat")?.verdict ?? "none";
  const verdict = own === "none" ? reused : own;
  return verdict === "good" && imageWarnings(steps).unserved.length > 0 ? "usable" : verdict;
}

/** The gravest first: a rig that is not as it was, then safety, then what went wrong, then the result. */
function exitCodeOf(facts: RunFacts): ExitCode {
  const ended = runEnding(facts);
  if (facts.notPutBack || facts.settings?.some((setting) => setting.state === "different"))
    return exitCodes.notRestored;
  if (ended === "unsafe" || (ended === "refused" && facts.refusedFor === "safety")) return exitCodes.safety;
  if (ended === "refused") return exitCodes.wrongInput;
  const failures = [facts.failure, ...facts.steps.map((step) => step.failure)].filter((f) => f !== undefined);
  if (failures.some((failure) => failure.code === "FAULT")) return exitCodes.fault;
  if (failures.some(isDeviceFailure) || failures.some(isDiskFailure) || facts.unwritten.length > 0)
    return exitCodes.deviceFailed;
  if (ended === "stopped") return exitCodes.stopped;
  if (ended === "failed") return exitCodes.nothingMade;
  if (verdictOf(facts.steps) === "bad") return exitCodes.verdictBad;
  return exitCodes.done;
}
