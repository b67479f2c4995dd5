import { lstatSync, readdirSync, readFileSync, rmdirSync, rmSync } from "node:fs";
import { basename, join, resolve } from "node:path";
import { parseJson } from "../../../drivers/kit/parse-json.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { baselineFileName, readBaselineFile } from "./baseline-file.ts";
import { listMasterFiles } from "./history.ts";
import type { Ledger } from "./ledger.ts";
import { isConfirmedSince } from "./retreats.ts";
import { readRetreats } from "./retreats-file.ts";

export interface PruneRequest {
  readonly ledger: Ledger;
  readonly rigFile: RigFile;
  readonly nowUtcMs: number;
  /** The run that has just ended: it stays. */
  readonly runId: string;
}

const dayMs = 86_400_000;
/** By these a folder is known for that run's own; they go last, so that what was begun is gone on with. */
const recordNames: readonly string[] = ["run.json", baselineFileName];

interface OldRun {
  readonly folder: string;
  readonly startedUtcMs: number;
  /** Whole paths of what may go. */
  readonly files: readonly string[];
  readonly bytes: number;
}

/**
 * Removes old runs of a rig as its file says (`limits.runsKeptDays`, `limits.runsKeptMegabytesMax`), oldest first; without
 * either, none. Only those that the ledger knows as put back, and never a master that it lists: what is left of such a run
 * is its masters. A run after whose trip nobody has confirmed the Sun filter stays. @returns the folders; @throws LedgerError, or what the file system says
 */
export function pruneRuns({ ledger, rigFile, nowUtcMs, runId }: PruneRequest): readonly string[] {
  const { runsKeptDays, runsKeptMegabytesMax } = rigFile.limits;
  if (runsKeptDays === undefined && runsKeptMegabytesMax === undefined) return [];
  const listed = listMasterFiles(ledger);
  if (!listed) return [];
  const masters = new Set(listed.map((file) => resolve(file)));
  const rows = ledger.runs(rigFile.rig);
  const own = rows.find((row) => row.runId === runId);
  const runs = rows
    .filter((row) => row.stage === "closed" && row.runId !== runId && isItsFolder(row.folder, row.runId))
    .filter((row) => !hasStandingTrip(row.folder, rigFile))
    .map(({ folder, startedUtcMs }) => ({ folder, startedUtcMs, ...listFiles(folder, masters) }));
  const bytesMax = (runsKeptMegabytesMax ?? Number.POSITIVE_INFINITY) * 1e6;
  let bytes =
    (own ? listFiles(own.folder, masters).bytes : 0) + runs.reduce((sum, run) => sum + run.bytes, 0);
  const pruned: string[] = [];
  for (const run of runs) {
    const isTooOld = nowUtcMs - run.startedUtcMs > (runsKeptDays ?? Number.POSITIVE_INFINITY) * dayMs;
    if (!isTooOld && bytes <= bytesMax) continue;
    removeRun(run);
    bytes -= run.bytes;
    pruned.push(run.folder);
  }
  return pruned;
}

/** A row names a folder; only what says itself that it is that run's is touched. */
function isItsFolder(folder: string, runId: string): boolean {
  try {
    if (!lstatSync(folder).isDirectory()) return false;
    const saved = readBaselineFile(folder);
    if (saved !== undefined && saved !== "damaged")
      return saved.runId === runId && saved.state !== "changing";
    const record = parseJson(readFileSync(join(folder, "run.json"), "utf8")) as
      | { runId?: unknown }
      | undefined;
    return record?.runId === runId;
  } catch {
    return false;
  }
}

function hasStandingTrip(folder: string, rigFile: RigFile): boolean {
  const { retreats, unreadable } = readRetreats(folder);
  return unreadable || retreats.some((one) => one.kind === "brightness" && !isConfirmedSince(one, rigFile));
}

/** Links are not followed. */
function listFiles(folder: string, masters: ReadonlySet<string>): Pick<OldRun, "files" | "bytes"> {
  const files = readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => !entry.isDirectory())
    .map((entry) => resolve(entry.parentPath, entry.name))
    .filter((file) => !masters.has(file));
  return { files, bytes: files.reduce((sum, file) => sum + lstatSync(file).size, 0) };
}

function removeRun({ folder, files }: OldRun): void {
  const isRecord = (file: string) => recordNames.includes(basename(file));
  for (const file of [...files.filter((one) => !isRecord(one)), ...files.filter(isRecord)])
    rmSync(file, { force: true });
  const folders = readdirSync(folder, { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isDirectory())
    .map((entry) => join(entry.parentPath, entry.name));
  for (const empty of [folder, ...folders].toSorted((a, b) => b.length - a.length)) {
    try {
      rmdirSync(empty);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== "ENOTEMPTY") throw error; // its masters stay
    }
  }
}
