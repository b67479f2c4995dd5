import { oneLine } from "../../drivers/kit/plain-text.ts";
import type { Plan } from "../../plans/plan-file.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { listPlanChecks } from "../run/checks/check-plan.ts";
import type { CheckResult } from "../run/checks/check-result.ts";
import { freeDiskMegabytes } from "../run/checks/free-disk.ts";
import { findUnconfirmedTrip } from "../run/ledger/retreats.ts";
import { findUnfinishedRuns } from "../run/ledger/unfinished-runs.ts";
import { stepTable } from "../run/steps/step-table.ts";
import { type ExitCode, exitCodes } from "./outcome.ts";
import { openRecords, type RecordPlaces } from "./run-records.ts";

export interface PlanOnRig {
  readonly plan: Plan;
  readonly rigFile: RigFile;
  readonly nowUtcMs: number;
  readonly unattended: boolean;
}

/** What a run would look at before it connects anything; changes nothing, makes no ledger. */
export function checkPlanOnRig(
  { plan, rigFile, nowUtcMs, unattended }: PlanOnRig,
  places: RecordPlaces,
): readonly CheckResult[] {
  using opened = openRecords(places);
  const { records, trouble } = opened;
  const checks = listPlanChecks({
    table: stepTable,
    scene: { plan, rigFile, findings: { lightRate: {} } },
    nowUtcMs,
    unattended,
    freeDiskMegabytes: () => freeDiskMegabytes(places.runs),
    unconfirmedTrip: findUnconfirmedTrip(records, rigFile),
  });
  const left = findUnfinishedRuns(records, rigFile.rig).runs.map(({ folder }) => folder);
  const about = { check: "earlier runs", kind: "input" } as const;
  const earlier: CheckResult = trouble
    ? { ...about, verdict: "failed", text: trouble.message, whatToDo: trouble.whatToDo }
    : left.length === 0
      ? { ...about, verdict: "passed", text: "every run of this rig that is known here was put back" }
      : {
          ...about,
          verdict: "doubtful",
          text: `not put back yet: ${left.join(", ")}`,
          whatToDo: "The next run puts it back first; `evenfield restore --rig RIG` does so now.",
        };
  return [...checks, earlier];
}

/** As a run would end that is refused for them: wrong input comes before what is unsafe. */
export function exitCodeOfChecks(checks: readonly CheckResult[]): ExitCode {
  const failed = checks.filter(({ verdict }) => verdict === "failed");
  if (failed.some(({ kind }) => kind === "input")) return exitCodes.wrongInput;
  return failed.length > 0 ? exitCodes.safety : exitCodes.done;
}

/** A line for each, with what to do below it. */
export function describeChecks(checks: readonly CheckResult[]): readonly string[] {
  const word = { passed: "yes", failed: "NO", doubtful: "perhaps", "not made": "not known" } as const;
  const width = Math.max(...Object.values(word).map(({ length }) => length));
  return checks.flatMap(({ check, verdict, text, whatToDo }) =>
    [
      `${word[verdict].padEnd(width)}  ${check}: ${text}`,
      ...(whatToDo === undefined ? [] : [`${"".padEnd(width)}  ${whatToDo}`]),
    ].map(oneLine),
  );
}
