import { basename, join } from "node:path";
import { writeWholeFile } from "../../../drivers/formats/whole-file.ts";
import { addMaster, saveFindings } from "../ledger/history.ts";
import { listMasters } from "../ledger/masters-made.ts";
import type { RunFacts } from "../record/run-facts.ts";
import type { RunReport } from "../record/run-record.ts";
import { reportOf } from "../record/run-report.ts";
import type { RunOptions } from "./run-options.ts";

/** Writes the run's record and report, and keeps what the next run of this rig starts from. */
export async function writeResults(options: RunOptions, facts: RunFacts): Promise<void> {
  writeRecord(facts); // first without the report: should anything here fail, the numbers are there
  keepForLater(options, facts);
  facts.files = await options.clock.hold(options.writeOutputs(reportOf(facts).record));
  writeRecord(facts);
}

/** Files how the run ended; nothing is written to its folder after this. */
export function finishRun({ ledger }: RunOptions, facts: RunFacts): RunReport {
  const { journal, setting, begun } = facts;
  const report = reportOf(facts);
  const { ended, verdict, exitCode } = report;
  ledger.endRun(setting.runId, report);
  if (!begun) ledger.closeRun(setting.runId);
  journal.noteSurely("run ended", { ended, verdict, exitCode });
  journal[Symbol.dispose]();
  return report;
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
