import type { Findings } from "../../procedures/findings.ts";
import type { RunOptions } from "../machine/run-options.ts";
import type { RunBook } from "./run-book.ts";
import { endedAs, exitCodeOf, type RunFacts, verdictOf } from "./run-outcome.ts";
import type { DeviceRecord, LeftOnRig, RunRecord, RunReport, SettingRecord } from "./run-record.ts";

export interface RecordParts {
  readonly options: RunOptions;
  readonly runId: string;
  readonly startedUtcMs: number;
  readonly book: RunBook;
  readonly facts: RunFacts;
  readonly devices: readonly DeviceRecord[];
  readonly findings: Findings;
  readonly trainMark: string | undefined;
  readonly files: readonly string[];
}

export function composeRecord(parts: RecordParts): RunRecord {
  const { options, book, facts, findings } = parts;
  const { unhealthyPx, ...kept } = findings;
  return {
    runId: parts.runId,
    plan: options.plan,
    rig: options.rigFile,
    trainMark: parts.trainMark,
    unattended: options.unattended,
    startedUtcMs: parts.startedUtcMs,
    endedUtcMs: options.clock.nowMs(),
    devices: parts.devices,
    steps: [...book.steps],
    settings: facts.settings,
    guardEvents: [...book.guardEvents],
    timeline: [...book.timeline],
    findings: unhealthyPx
      ? { ...kept, unhealthyPxCount: unhealthyPx.reduce((sum, one) => sum + one, 0) }
      : kept,
    files: parts.files,
    ended: endedAs(facts),
    verdict: verdictOf(book.steps, findings.flatInUse),
    exitCode: exitCodeOf(facts),
    leftOnRig: leftOnRig(facts.settings),
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

export function reportOf(record: RunRecord, folder: string): RunReport {
  const { ended, verdict, exitCode, leftOnRig, settings, failure } = record;
  const notAsFound = settings.filter((setting) => setting.state !== "same");
  return { ended, verdict, exitCode, leftOnRig, notAsFound, folder, record, ...(failure ? { failure } : {}) };
}
