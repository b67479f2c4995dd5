import type { BaselineEntry } from "../record/run-record.ts";
import { baselineFileName, readBaselineFile, type SavedBaseline } from "./baseline-file.ts";
import type { Ledger } from "./ledger.ts";
import { listRunFolders } from "./run-folders.ts";
import type { RunRow, RunStage } from "./run-rows.ts";

/** A run whose changes were not all put back, as far as its records tell. */
export interface UnfinishedRun {
  readonly runId: string;
  /** Whole path. */
  readonly folder: string;
  readonly startedUtcMs: number;
  /** How it found the rig; `undefined` when neither record of it is as it was written. */
  readonly baseline: readonly BaselineEntry[] | undefined;
}

export interface UnfinishedRuns {
  /** Oldest first. */
  readonly runs: readonly UnfinishedRun[];
  /** What can't be known of other runs, and which record was not used, for a person. */
  readonly doubts: readonly string[];
}

/** Where the records of runs are. */
export interface RunRecords {
  /** Left out where there is none that can be opened. */
  readonly ledger?: Ledger | undefined;
  readonly ledgerFile: string;
  /** Where run folders lie, beside the places that are noted with the ledger. */
  readonly runsFolders: readonly string[];
}

/** What both records say of one run. */
interface KnownRun {
  readonly runId: string;
  readonly folder: string;
  readonly startedUtcMs: number;
  readonly stage?: RunStage;
  readonly inLedger?: readonly BaselineEntry[] | undefined;
  readonly inFolder?: SavedBaseline | "damaged" | undefined;
}

/**
 * Runs of that rig that are unfinished. Both records are asked, the ledger and the file in the run's own folder: a run
 * that either calls put back is so, one that only its folder knows counts, and where a record is not as it was written
 * the other one serves. Never throws.
 */
export function findUnfinishedRuns(records: RunRecords, rig: string): UnfinishedRuns {
  const { ledger } = records;
  const { rows, damage } = readRows(ledger, rig);
  const doubts: string[] = damage === undefined ? [] : [`the ledger is damaged (${damage})`];
  const known = new Map<string, KnownRun>();
  for (const { runId, folder, startedUtcMs, stage } of rows) {
    if (stage === "closed") known.set(runId, { runId, folder, startedUtcMs, stage });
    else {
      const saved = readBaselineFile(folder);
      const isOther = saved !== undefined && saved !== "damaged" && saved.runId !== runId;
      const both = { inLedger: ledger?.baselineOf(runId), inFolder: isOther ? undefined : saved };
      known.set(runId, { runId, folder, startedUtcMs, stage, ...both });
    }
  }
  const folders = new Set([...known.values()].map(({ folder }) => folder));
  for (const folder of listRunFolders(records.ledgerFile, records.runsFolders)) {
    if (folders.has(folder)) continue;
    const inFolder = readBaselineFile(folder);
    if (inFolder === "damaged") {
      // With a whole ledger it would be known there, if it were this rig's and unfinished.
      if (!ledger || damage !== undefined)
        doubts.push(`${folder}/${baselineFileName} is damaged: whether that run was put back is not known`);
    } else if (inFolder?.rig === rig && !known.has(inFolder.runId)) {
      const { runId, startedUtcMs } = inFolder;
      known.set(runId, { runId, folder, startedUtcMs, inFolder });
    }
  }
  const unfinished = [...known.values()].filter(isUnfinished);
  const runs = unfinished.map((run) => {
    const { runId, folder, startedUtcMs } = run;
    return { runId, folder, startedUtcMs, baseline: fullerBaseline(run, doubts) };
  });
  return { runs: runs.toSorted((a, b) => a.startedUtcMs - b.startedUtcMs), doubts };
}

function readRows(
  ledger: Ledger | undefined,
  rig: string,
): { rows: readonly RunRow[]; damage?: string | undefined } {
  try {
    return { rows: ledger?.runs(rig) ?? [], damage: ledger?.damage };
  } catch (error) {
    return { rows: [], damage: error instanceof Error ? error.message : String(error) };
  }
}

function isUnfinished({ stage, inFolder }: KnownRun): boolean {
  if (stage === "closed") return false;
  const inFile = inFolder === "damaged" ? undefined : inFolder?.state;
  return inFile === undefined ? stage === "changing" : inFile === "changing";
}

/** Of two that are whole, the later one: a run that was cut off between the two writes has more in one of them. */
function fullerBaseline(
  { runId, stage, inLedger, inFolder }: KnownRun,
  doubts: string[],
): readonly BaselineEntry[] | undefined {
  const inFile = inFolder === "damaged" ? undefined : inFolder?.entries;
  if (inFolder === "damaged") doubts.push(`${baselineFileName} of the run ${runId} is damaged`);
  if (stage === "changing" && !inLedger) doubts.push(`the ledger's baseline of the run ${runId} is damaged`);
  return (inFile?.length ?? 0) > (inLedger?.length ?? 0) ? inFile : inLedger;
}
