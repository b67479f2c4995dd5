import type { RunFacts } from "./run-facts.ts";
import { exitCodeOf, runEnding, verdictOf } from "./run-outcome.ts";
import type { LeftOnRig, RunRecord, RunReport, SettingRecord } from "./run-record.ts";

/** How it ended, as far as it is known now. */
export function reportOf(facts: RunFacts): RunReport {
  const record = composeRecord(facts);
  const { folder } = facts.setting;
  const { ended, verdict, exitCode, leftOnRig, settings, failure } = record;
  const notAsFound = settings.filter((setting) => setting.state !== "same");
  return { ended, verdict, exitCode, leftOnRig, notAsFound, folder, record, ...(failure ? { failure } : {}) };
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
    ...(facts.failure === undefined ? {} : { failure: facts.failure }),
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
