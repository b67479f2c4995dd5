import { Database } from "bun:sqlite";
import { mkdirSync } from "node:fs";
import { dirname } from "node:path";
import type { SettingValue } from "../../../drivers/roles/device.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { BaselineEntry, RunEnded } from "../record/run-record.ts";

/**
 * Where a run stands, as far as the rig is concerned.
 * `changing`: the baseline is on disk and the rig may differ from it; `closed`: restored, refused or accepted as it is.
 */
export type RunStage = "begun" | "changing" | "closed";

export interface RunRow {
  readonly runId: string;
  readonly rig: string;
  readonly plan: string;
  readonly folder: string;
  readonly startedUtcMs: number;
  readonly stage: RunStage;
  readonly ended: RunEnded | null;
  readonly exitCode: number | null;
}

/** 2 added the retreats, which an earlier version must not overlook. */
const format = 2;

const tables = `
  create table if not exists runs (
    run_id text primary key, rig text not null, plan text not null, folder text not null,
    started_utc_ms integer not null, stage text not null, ended text, exit_code integer) strict;
  create table if not exists baselines (
    run_id text not null references runs, position integer not null, role text not null, device text not null,
    key text not null, value text not null, unit text, restored integer not null default 0,
    primary key (run_id, position)) strict;
  create table if not exists findings (
    rig text not null, train_mark text not null, kind text not null, run_id text not null,
    measured_utc_ms integer not null, value text not null) strict;
  create index if not exists findings_newest on findings (rig, train_mark, kind, measured_utc_ms);
  create table if not exists masters (
    rig text not null, train_mark text not null, kind text not null, run_id text not null, file text not null,
    made_utc_ms integer not null, verdict text not null, facts text not null) strict;
  create table if not exists retreats (
    rig text not null, run_id text not null, utc_ms integer not null, kind text not null, reason text not null,
    last_confirmed text not null) strict;
  create index if not exists retreats_of_run on retreats (run_id);
  pragma user_version = ${format};
`;

/** Of a rehearsal: what a simulated rig taught is gone with the process. */
export function isInMemory(ledgerFile: string): boolean {
  return ledgerFile === ":memory:";
}

/**
 * The SQLite file of runs, baselines, masters and findings. What a call has returned from is on the disk:
 * the write-ahead log is synced at every commit, so a kill or a power cut loses nothing that was promised.
 */
export class Ledger implements Disposable {
  readonly database: Database;

  constructor(readonly file: string) {
    if (!isInMemory(file)) mkdirSync(dirname(file), { recursive: true });
    this.database = new Database(file, { create: true, strict: true });
    this.database.run("pragma busy_timeout = 5000");
    this.database.run("pragma journal_mode = wal");
    this.database.run("pragma synchronous = full");
    this.database.run("pragma foreign_keys = on");
    const version = this.database
      .query<{ user_version: number }, []>("pragma user_version")
      .get()!.user_version;
    if (version > format)
      throw new Error(
        `${file} was written by a later version of evenfield (format ${version}, known ${format})`,
      );
    this.database.run(tables);
  }

  [Symbol.dispose](): void {
    this.database.close();
  }

  /** @returns the run's id: when it started and which plan, with a number when that is taken */
  beginRun(run: Pick<RunRow, "rig" | "plan" | "folder" | "startedUtcMs">): string {
    const name = `${new Date(run.startedUtcMs).toISOString()}-${run.plan}`;
    const taken = this.database.query<{ n: number }, [string]>(
      "select count(*) as n from runs where run_id = ?",
    );
    let runId = name;
    for (let next = 2; taken.get(runId)!.n > 0; next++) runId = `${name}-${next}`;
    this.database
      .query(
        "insert into runs (run_id, rig, plan, folder, started_utc_ms, stage) values (?, ?, ?, ?, ?, 'begun')",
      )
      .run(runId, run.rig, run.plan, run.folder, Math.round(run.startedUtcMs));
    return runId;
  }

  /**
   * Writes down that a device was found connected or not, before it is connected. From then on the run counts as
   * changing; `saveBaseline` puts the whole baseline in place of these.
   */
  noteFound(runId: string, entry: Pick<BaselineEntry, "role" | "device">, connected: boolean): void {
    this.database.transaction(() => {
      this.database
        .query(
          `insert into baselines (run_id, position, role, device, key, value)
           values (?, (select count(*) from baselines where run_id = ?), ?, ?, ?, ?)`,
        )
        .run(runId, runId, entry.role, entry.device, connectionKey, JSON.stringify(connected));
      this.#turnChanging(runId);
    })();
  }

  /** Writes the whole baseline and turns the run to `changing`, in one synced transaction: all of it or nothing. */
  saveBaseline(runId: string, entries: readonly BaselineEntry[]): void {
    const insert = this.database.query(
      "insert into baselines (run_id, position, role, device, key, value, unit) values (?, ?, ?, ?, ?, ?, ?)",
    );
    this.database.transaction(() => {
      this.database.query("delete from baselines where run_id = ?").run(runId);
      entries.forEach(({ role, device, setting }, position) => {
        const value = JSON.stringify(setting.value);
        insert.run(runId, position, role, device, setting.key, value, setting.unit ?? null);
      });
      this.#turnChanging(runId);
    })();
  }

  #turnChanging(runId: string): void {
    this.database.query("update runs set stage = 'changing' where run_id = ?").run(runId);
  }

  baselineOf(runId: string): readonly (BaselineEntry & { readonly restored: boolean })[] {
    type Texts = { role: RoleName; device: string; key: string; value: string };
    type Row = Texts & { unit: string | null; restored: number };
    return this.database
      .query<Row, [string]>("select * from baselines where run_id = ? order by position")
      .all(runId)
      .map(({ role, device, key, value, unit, restored }) => ({
        role,
        device,
        setting: { key, value: JSON.parse(value) as SettingValue, ...(unit === null ? {} : { unit }) },
        restored: restored === 1,
      }));
  }

  markRestored(
    runId: string,
    entry: Pick<BaselineEntry, "device" | "role">,
    key: string,
    restored: boolean,
  ): void {
    this.database
      .query("update baselines set restored = ? where run_id = ? and role = ? and device = ? and key = ?")
      .run(restored ? 1 : 0, runId, entry.role, entry.device, key);
  }

  /** The rig is as it was, or as its owner accepts it: nothing is left to restore from this run. */
  closeRun(runId: string): void {
    this.database.query("update runs set stage = 'closed' where run_id = ?").run(runId);
  }

  endRun(runId: string, how: { ended: RunEnded; exitCode: number }): void {
    this.database
      .query("update runs set ended = ?, exit_code = ? where run_id = ?")
      .run(how.ended, how.exitCode, runId);
  }

  /** Runs of that rig whose changes were not all put back, oldest first. */
  unfinishedRuns(rig: string): readonly RunRow[] {
    return this.#runs("where rig = ? and stage = 'changing' order by started_utc_ms", rig);
  }

  runs(rig: string): readonly RunRow[] {
    return this.#runs("where rig = ? order by started_utc_ms", rig);
  }

  #runs(where: string, rig: string): readonly RunRow[] {
    return this.database
      .query<RunRow, [string]>(
        `select run_id as runId, rig, plan, folder, started_utc_ms as startedUtcMs, stage, ended, exit_code as exitCode
         from runs ${where}`,
      )
      .all(rig);
  }
}
