import { basename, join } from "node:path";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { closeRun } from "../ledger/baseline.ts";
import { addMaster, saveFindings } from "../ledger/history.ts";
import { listMasters } from "../ledger/masters-made.ts";
import { pruneRuns } from "../ledger/prune-runs.ts";
import { isDiskFailure } from "../record/disk-trouble.ts";
import { failureRecord } from "../record/failure-record.ts";
import type { RunFacts } from "../record/run-facts.ts";
import type { RunReport } from "../record/run-record.ts";
import { reportOf } from "../record/run-report.ts";
import type { RunOptions } from "./run-options.ts";

/**
 * Writes the run's record and report, and keeps what the next run of this rig starts from. What the disk refuses is
 * noted in the facts, and the rest is written all the same. @throws what is a fault of ours
 */
export async function writeResults(options: RunOptions, facts: RunFacts): Promise<void> {
  const faults: unknown[] = [];
  const attempt = async (write: () => void | Promise<void>) => {
    try {
      await write();
    } catch (error) {
      if (!noteUnwritten(facts, error)) faults.push(error);
    }
  };
  await attempt(() => writeRecord(facts)); // first without the report: should anything here fail, the numbers are there
  await attempt(() => keepForLater(options, facts));
  await attempt(async () => {
    facts.files = await options.clock.hold(options.writeOutputs(reportOf(facts).record));
    writeRecord(facts);
  });
  await attempt(() => pruneOldRuns(options, facts));
  if (faults.length > 0) throw faults[0];
}

/** Only with the rig as it was, and never because the disk is low: then a person looks what fills it. */
function pruneOldRuns({ ledger, rigFile, clock, freeDiskMegabytes }: RunOptions, facts: RunFacts): void {
  const isBack = facts.begun && facts.settings?.every(({ state }) => state !== "different") === true;
  if (!isBack || freeDiskMegabytes() < rigFile.limits.freeDiskMegabytesMin) return;
  const { runId } = facts.setting;
  const folders = pruneRuns({ ledger, rigFile, nowUtcMs: clock.nowMs(), runId });
  if (folders.length > 0) facts.journal.note("old runs are removed", { folders });
}

/** Files how the run ended; nothing is written to its folder after this. Never throws. */
export function finishRun({ ledger }: RunOptions, facts: RunFacts): RunReport {
  const { journal, setting, begun } = facts;
  const { ended, verdict, exitCode } = reportOf(facts);
  try {
    ledger.endRun(setting.runId, { ended, exitCode });
  } catch (error) {
    if (!noteUnwritten(facts, error)) facts.breakOff(error, false);
  }
  const isLeft = facts.settings?.some(({ state }) => state === "different") === true;
  if (!begun && !isLeft) facts.unwritten.push(...closeRun(ledger, setting, "put back"));
  journal.noteSurely("run ended", { ended, verdict, exitCode });
  journal[Symbol.dispose]();
  return reportOf(facts);
}

/** @returns whether it was the disk that refused */
function noteUnwritten(facts: RunFacts, error: unknown): boolean {
  const failure = failureRecord(error);
  const ofDisk = isDiskFailure(failure);
  const { message, whatToDo } = failure;
  if (ofDisk && !facts.unwritten.some((one) => one.startsWith(message)))
    facts.unwritten.push(`${message}. ${whatToDo}`);
  return ofDisk;
}

function writeRecord(facts: RunFacts): void {
  const { record, folder } = reportOf(facts);
  const text = JSON.stringify({ folder: basename(folder), ...record }, null, 2);
  writeWholeFile(join(folder, "run.json"), new TextEncoder().encode(`${text}\n`), { replace: true });
}

function keepForLater({ ledger, clock, rigFile }: RunOptions, facts: RunFacts): void {
  const { train, findings, steps } = facts;
  const { runId, startedUtcMs, folder } = facts.setting;
  if (!train) return;
  const key = { rig: rigFile.rig, trainMark: train.mark, runId };
  saveFindings(ledger, { ...key, sinceUtcMs: startedUtcMs }, findings, clock.nowMs());
  for (const master of listMasters(steps, runId, folder)) addMaster(ledger, key, master);
}
