import { existsSync } from "node:fs";
import { resolve } from "node:path";
import { baselineFileName, readBaselineFile } from "../run/ledger/baseline-file.ts";
import { findUnfinishedRuns, type RunRecords, type UnfinishedRun } from "../run/ledger/unfinished-runs.ts";
import { CommandError, exitCodes, wrongInput } from "./outcome.ts";
import type { OpenRecords, RecordPlaces } from "./run-records.ts";

export interface RunsToRestore {
  readonly records: RunRecords;
  /** Oldest first. */
  readonly runs: readonly UnfinishedRun[];
  /** Without runs, why there are none; with them, which record was not used. For a person, without a full stop. */
  readonly notes: readonly string[];
}

const nothingPutBack = "Nothing was put back, and nothing on the rig was touched.";

/** What there is to put back. @throws CommandError when that can't be known */
export function chooseRunsToRestore(
  places: RecordPlaces & { readonly ledgerByDefault?: boolean; readonly from?: string },
  rig: string,
  { records, trouble }: OpenRecords,
): RunsToRestore {
  if (places.from !== undefined) return chooseFolder(places.from, rig, records);
  const { runs, doubts } = findUnfinishedRuns(records, rig);
  const unused = records.ledger || !trouble ? [] : [`${trouble.message}; the run folders were gone by`];
  if (runs.length > 0) return { records, runs, notes: [...unused, ...doubts] };
  if (trouble || doubts.length > 0) {
    const what = [...(trouble ? [trouble.message] : []), ...doubts].join("; ");
    const isMistake =
      trouble !== undefined && ["not a ledger", "unopened", "later version"].includes(trouble.trouble);
    throw new CommandError(
      isMistake ? exitCodes.wrongInput : exitCodes.notRestored,
      {
        happened: `Whether something is left to be put back on ${rig} is not known: ${what}.`,
        state: `${nothingPutBack} In the run folders of ${places.runs} nothing unfinished was found.`,
        whatToDo: `Name the run's folder with \`--from\`. ${trouble?.whatToDo ?? ""}`.trim(),
      },
      { cause: trouble },
    );
  }
  if (!existsSync(places.ledger) && places.ledgerByDefault !== true)
    throw wrongInput(
      nothingPutBack,
      `There is no ledger ${places.ledger}, so whether something is left to be put back on ${rig} is not known.`,
      "Check the path; left out, `--ledger` is the one that runs keep by default.",
    );
  const why = records.ledger ? "no run of it is unfinished" : "no run was made by this user yet";
  return { records, runs, notes: [why] };
}

function chooseFolder(from: string, rig: string, records: RunRecords): RunsToRestore {
  const folder = resolve(from);
  const saved = readBaselineFile(folder);
  if (saved === undefined)
    throw wrongInput(
      nothingPutBack,
      `${from} holds no ${baselineFileName}.`,
      "Name the folder of a run that had begun to change the rig.",
    );
  if (saved === "damaged")
    throw new CommandError(exitCodes.notRestored, {
      happened: `${baselineFileName} in ${from} is not as it was written, and can't be relied on.`,
      state: nothingPutBack,
      whatToDo: "Leave out `--from`: the ledger may have it whole. Otherwise put the rig right by hand.",
    });
  if (saved.rig !== rig)
    throw wrongInput(
      nothingPutBack,
      `${from} is of the rig ${saved.rig}, and the rig file is that of ${rig}.`,
      "Name the rig's own file, or another folder.",
    );
  const { runId, startedUtcMs, entries } = saved;
  if (saved.state !== "changing") return { records, runs: [], notes: [`that run is ${saved.state}`] };
  return { records, runs: [{ runId, folder, startedUtcMs, baseline: entries }], notes: [] };
}
