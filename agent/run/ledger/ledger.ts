import { Database } from "bun:sqlite";
import { mkdirSync } from "node:fs";
import { dirname } from "node:path";
import { parseJson } from "../../../drivers/kit/parse-json.ts";
import type { BaselineEntry, RunEnded } from "../record/run-record.ts";
import { baselineDigest, isStorable, parseEntries } from "./baseline-entries.ts";
import { asLedgerError, LedgerError } from "./ledger-error.ts";
import { isInMemory, judgeTables, ledgerFormat, makeTables } from "./ledger-tables.ts";
import { readRetreatRows } from "./retreat-rows.ts";
import { type RunRow, readRun, readRuns, sealRuns, writeRun } from "./run-rows.ts";

/** How long another process may hold the file before a call fails [ms]; nothing of ours holds it for longer. */
const busyMs = 2000;

/**
 * The SQLite file of runs, baselines, masters and findings. What a call has returned from is on the disk:
 * the write-ahead log is synced at every commit, so a kill or a power cut loses nothing that was promised.
 */
export class Ledger implements Disposable {
  readonly database: Database;
  /** What of it is not as it was written, if anything; what is left of it can be read. */
  readonly damage: string | undefined;

  /**
   * Opens the file, makes it if it is not there, and looks whether all of it is as it was written.
   * @throws LedgerError; for one that is damaged only when that is not accepted
   */
  constructor(
    readonly file: string,
    { acceptDamage = false } = {},
  ) {
    let database: Database | undefined;
    try {
      if (!isInMemory(file)) mkdirSync(dirname(file), { recursive: true });
      this.database = database = new Database(file, { create: true, strict: true });
      this.#prepare();
      this.damage = this.#findDamage();
      if (this.damage !== undefined && !acceptDamage) throw new LedgerError(file, "damaged", this.damage);
    } catch (error) {
      database?.close();
      throw asLedgerError(file, error);
    }
  }

  #prepare(): void {
    const { database, file } = this;
    database.run(`pragma busy_timeout = ${busyMs}`);
    const found = judgeTables(database);
    if (found === "foreign") throw new LedgerError(file, "not a ledger", "it is another program's database");
    if (found === "later")
      throw new LedgerError(file, "later version", `this one knows formats up to ${ledgerFormat}`);
    database.run("pragma journal_mode = wal");
    database.run("pragma synchronous = full");
    database.run("pragma foreign_keys = on");
    if (found === "ours") return;
    makeTables(database, found, () =>
      sealRuns(database, (runId) => {
        const entries = this.#readEntries(runId);
        return entries ? baselineDigest(entries) : null;
      }),
    );
  }

  /** The database's own structure, then every row that says how a rig has to be put back. */
  #findDamage(): string | undefined {
    try {
      const [first] = this.database.query<{ integrity_check: string }, []>("pragma integrity_check(1)").all();
      if (first?.integrity_check !== "ok") return first?.integrity_check ?? "its pages can't be checked";
      for (const row of readRuns(this.database)) {
        if (row === undefined) return "a run is not as it was written";
        if (row.stage === "changing" && this.baselineOf(row.runId) === undefined)
          return `the baseline of the run ${row.runId} is not as it was written`;
      }
      if (readRetreatRows(this.database).unreadable) return "a retreat is not as it was written";
      return undefined;
    } catch (error) {
      return error instanceof Error ? error.message : String(error);
    }
  }

  [Symbol.dispose](): void {
    this.database.close();
  }

  /** @returns the run's id: when it started and which plan, with a number when that is taken */
  beginRun(run: Pick<RunRow, "rig" | "plan" | "folder" | "startedUtcMs">): string {
    const name = `${new Date(run.startedUtcMs).toISOString()}-${run.plan}`;
    const startedUtcMs = Math.round(run.startedUtcMs);
    return this.write(() => {
      let runId = name;
      for (let next = 2; this.hasRun(runId); next++) runId = `${name}-${next}`;
      const none = { ended: null, exitCode: null, baselineDigest: null };
      writeRun(this.database, { ...run, runId, startedUtcMs, stage: "begun", ...none });
      return runId;
    });
  }

  /** Writes the whole baseline and turns the run to `changing`, in one synced transaction: all of it or nothing. */
  saveBaseline(runId: string, entries: readonly BaselineEntry[]): void {
    const insert = this.database.query(
      "insert into baselines (run_id, position, role, device, key, value, unit) values (?, ?, ?, ?, ?, ?, ?)",
    );
    this.write(() => {
      this.database.query("delete from baselines where run_id = ?").run(runId);
      entries.forEach(({ role, device, setting }, position) => {
        const { key, value, unit } = setting;
        if (!isStorable(value))
          throw new TypeError(`${device}: ${key} is ${String(value)}, which is no value`);
        insert.run(runId, position, role, device, key, JSON.stringify(value), unit ?? null);
      });
      this.#changeRun(runId, { stage: "changing", baselineDigest: baselineDigest(entries) });
    });
  }

  /** How that run found the rig; `undefined` when it is not there as it was written, all of it. Never throws. */
  baselineOf(runId: string): readonly BaselineEntry[] | undefined {
    try {
      const entries = this.#readEntries(runId);
      const written = readRun(this.database, runId)?.baselineDigest;
      return entries && baselineDigest(entries) === written ? entries : undefined;
    } catch {
      return undefined;
    }
  }

  #readEntries(runId: string): readonly BaselineEntry[] | undefined {
    type Row = { role: string; device: string; key: string; value: string; unit: string | null };
    const rows = this.database
      .query<Row, [string]>(
        "select role, device, key, value, unit from baselines where run_id = ? order by position",
      )
      .all(runId);
    return parseEntries(
      rows.map(({ role, device, key, value, unit }) => {
        const setting = { key, value: parseJson(value), ...(unit === null ? {} : { unit }) };
        return { role, device, setting };
      }),
    );
  }

  /** Whether it has that run, be it as it was written or not. */
  hasRun(runId: string): boolean {
    const count = this.database.query<{ n: number }, [string]>(
      "select count(*) as n from runs where run_id = ?",
    );
    return this.read(() => count.get(runId)!.n > 0);
  }

  /** The rig is as it was, or as its owner accepts it: nothing is left to restore from this run. */
  closeRun(runId: string): void {
    this.write(() => this.#changeRun(runId, { stage: "closed" }));
  }

  endRun(runId: string, { ended, exitCode }: { ended: RunEnded; exitCode: number }): void {
    this.write(() => this.#changeRun(runId, { ended, exitCode }));
  }

  #changeRun(runId: string, changes: Partial<RunRow>): void {
    const row = readRun(this.database, runId);
    if (!row) throw new LedgerError(this.file, "damaged", `the run ${runId} is not as it was written`);
    writeRun(this.database, { ...row, ...changes });
  }

  /** Runs of that rig whose changes were not all put back, oldest first; as far as they can be read. */
  unfinishedRuns(rig: string): readonly RunRow[] {
    return this.runs(rig).filter(({ stage }) => stage === "changing");
  }

  /** Oldest first, without those that are not as they were written. @throws LedgerError */
  runs(rig: string): readonly RunRow[] {
    return this.read(readRuns).filter((row): row is RunRow => row?.rig === rig);
  }

  /** All of it or nothing, and on the disk when it returns. @throws LedgerError */
  write<Result>(work: (database: Database) => Result): Result {
    return this.read((database) => database.transaction(() => work(database)).immediate());
  }

  /** @throws LedgerError */
  read<Result>(work: (database: Database) => Result): Result {
    try {
      return work(this.database);
    } catch (error) {
      throw asLedgerError(this.file, error);
    }
  }
}
