import type { Database } from "bun:sqlite";
import * as z from "zod";
import type { RunEnded } from "../record/run-record.ts";
import { digestOf } from "./baseline-entries.ts";

/**
 * Where a run stands, as far as the rig is concerned.
 * `changing`: the baseline is on disk and the rig may differ from it; `closed`: restored, refused or accepted as it is.
 */
export type RunStage = "begun" | "changing" | "closed";

export interface RunRow {
  readonly runId: string;
  readonly rig: string;
  readonly plan: string;
  /** Whole path. */
  readonly folder: string;
  readonly startedUtcMs: number;
  readonly stage: RunStage;
  readonly ended: RunEnded | null;
  readonly exitCode: number | null;
  /** Of its baseline's entries, if it has one. */
  readonly baselineDigest: string | null;
}

const runRow = z.object({
  runId: z.string().min(1),
  rig: z.string().min(1),
  plan: z.string().min(1),
  folder: z.string().min(1),
  startedUtcMs: z.number(),
  stage: z.enum(["begun", "changing", "closed"]),
  ended: z.enum(["completed", "stopped", "failed", "unsafe", "refused"]).nullable(),
  exitCode: z.number().nullable(),
  baselineDigest: z.string().nullable(),
  seal: z.string(),
});

const columns = `run_id as runId, rig, plan, folder, started_utc_ms as startedUtcMs, stage, ended,
  exit_code as exitCode, baseline_digest as baselineDigest, seal`;

/** What a database can't tell of itself: a page that is whole and holds another text than was written. */
function sealOf(row: RunRow): string {
  const { runId, rig, plan, folder, startedUtcMs, stage, ended, exitCode, baselineDigest } = row;
  return digestOf([runId, rig, plan, folder, startedUtcMs, stage, ended, exitCode, baselineDigest]);
}

/** Every run, oldest first; `undefined` for one that is not as it was written. */
export function readRuns(database: Database): readonly (RunRow | undefined)[] {
  return database
    .query<object, []>(`select ${columns} from runs order by started_utc_ms, rowid`)
    .all()
    .map(checkRun);
}

export function readRun(database: Database, runId: string): RunRow | undefined {
  return checkRun(
    database.query<object, [string]>(`select ${columns} from runs where run_id = ?`).get(runId),
  );
}

function checkRun(found: unknown): RunRow | undefined {
  const { success, data } = runRow.safeParse(found);
  return success && data.seal === sealOf(data) ? data : undefined;
}

/** Adds a run, or writes what has changed of it. */
export function writeRun(database: Database, row: RunRow): void {
  const { runId, rig, plan, folder, startedUtcMs, stage, ended, exitCode, baselineDigest } = row;
  database
    .query(
      `insert into runs (run_id, rig, plan, folder, started_utc_ms, stage, ended, exit_code, baseline_digest, seal)
       values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
       on conflict (run_id) do update set stage = excluded.stage, ended = excluded.ended,
         exit_code = excluded.exit_code, baseline_digest = excluded.baseline_digest, seal = excluded.seal`,
    )
    .run(runId, rig, plan, folder, startedUtcMs, stage, ended, exitCode, baselineDigest, sealOf(row));
}

/** Runs of a format that had no seals, as they are. */
export function sealRuns(database: Database, digestOfBaseline: (runId: string) => string | null): void {
  const unsealed = database.query<Omit<RunRow, "baselineDigest">, []>(`select ${columns} from runs`).all();
  for (const row of unsealed) writeRun(database, { ...row, baselineDigest: digestOfBaseline(row.runId) });
}
