import type { Database } from "bun:sqlite";
import * as z from "zod";
import { failureKinds } from "../../../plans/schedule-entries.ts";
import { digestOf } from "../../run/ledger/baseline-entries.ts";
import type { Ledger } from "../../run/ledger/ledger.ts";
import type { Attempt } from "../schedule/attempts.ts";

/** Beside the ledger's own; a program that does not know them has no harm of it. */
const tables = `
  create table if not exists schedule_attempts (
    rig text not null, entry text not null, occasion text not null, due_utc_ms integer not null,
    begun_utc_ms integer not null, ended_utc_ms integer, ended text, exit_code integer, run_id text, because text,
    seal text not null) strict;
  create index if not exists schedule_attempts_of_rig on schedule_attempts (rig, begun_utc_ms);
  create table if not exists schedule_restores (
    rig text not null, run_id text not null, tries integer not null, primary key (rig, run_id)) strict;
  create table if not exists schedule_looks (rig text primary key, looked_utc_ms integer not null) strict;
`;

const attemptRow = z.object({
  rowid: z.number(),
  entry: z.string(),
  occasion: z.string(),
  dueUtcMs: z.number(),
  begunUtcMs: z.number(),
  endedUtcMs: z.number().nullable(),
  ended: z
    .enum(["done", ...failureKinds, "not-restored", "stopped", "fault", "wrong-input", "refused"])
    .nullable(),
  exitCode: z.number().nullable(),
  runId: z.string().nullable(),
  because: z.string().nullable(),
  seal: z.string(),
});

const columns = `entry, occasion, due_utc_ms as dueUtcMs, begun_utc_ms as begunUtcMs, ended_utc_ms as endedUtcMs,
  ended, exit_code as exitCode, run_id as runId, because, seal`;

/** What a schedule's entries came to, of one rig; a restart goes on from here. */
export class ScheduleRecord {
  constructor(
    readonly ledger: Ledger,
    readonly rig: string,
  ) {}

  /** Those that began at that time or later, in order; without those that are not as they were written. */
  attempts(sinceUtcMs: number): readonly Attempt[] {
    return this.#rows(sinceUtcMs).map(({ attempt }) => attempt);
  }

  /** Writes one down: begun, or refused at once. */
  begin(attempt: Attempt): void {
    this.ledger.write((database) => {
      database.run(tables);
      insertAttempt(database, this.rig, attempt);
    });
  }

  /** Writes down how the one that goes on has ended; several when a process was killed and another was. */
  endRunning(how: Required<Pick<Attempt, "endedUtcMs" | "ended" | "because">> & Partial<Attempt>): void {
    this.ledger.write((database) => {
      for (const { rowid, attempt } of this.#rows(0)) {
        if (attempt.endedUtcMs !== undefined) continue;
        database.query("delete from schedule_attempts where rowid = ?").run(rowid);
        insertAttempt(database, this.rig, { ...attempt, ...how });
      }
    });
  }

  /** When somebody last looked at the schedule of this rig. */
  lookedUtcMs(): number | undefined {
    if (!this.#isThere()) return undefined;
    return this.ledger.read((database) =>
      database
        .query<{ at: number }, [string]>("select looked_utc_ms as at from schedule_looks where rig = ?")
        .get(this.rig),
    )?.at;
  }

  /** What the clock read then; one that was set back by less than a day does not make that forgotten. */
  look(nowUtcMs: number): void {
    this.ledger.write((database) => {
      database.run(tables);
      database
        .query(
          "insert into schedule_looks values (?, ?) on conflict (rig) do update set looked_utc_ms = case when looked_utc_ms - excluded.looked_utc_ms between 0 and 86400000 then looked_utc_ms else excluded.looked_utc_ms end",
        )
        .run(this.rig, Math.round(nowUtcMs));
    });
  }

  /** How often it was tried in vain to put back what a run left, by all processes of the service. */
  restoreTries(runId: string): number {
    if (!this.#isThere("schedule_restores")) return 0;
    const tries = "select tries from schedule_restores where rig = ? and run_id = ?";
    return this.ledger.read(
      (database) =>
        database.query<{ tries: number }, [string, string]>(tries).get(this.rig, runId)?.tries ?? 0,
    );
  }

  noteRestoreTry(runId: string): void {
    this.ledger.write((database) => {
      database.run(tables);
      database
        .query(
          "insert into schedule_restores values (?, ?, 1) on conflict (rig, run_id) do update set tries = tries + 1",
        )
        .run(this.rig, runId);
    });
  }

  /** How many have ended in each way, of all that are kept; rows are counted as they stand. */
  countByEnding(): ReadonlyMap<string, number> {
    if (!this.#isThere()) return new Map();
    const rows = this.ledger.read((database) =>
      database
        .query<{ ended: string; n: number }, [string]>(
          "select ended, count(*) as n from schedule_attempts where rig = ? and ended is not null group by ended",
        )
        .all(this.rig),
    );
    return new Map(rows.map(({ ended, n }) => [ended, n]));
  }

  /** A ledger that no service has written to has none of it, and reading makes nothing. */
  #isThere(table = "schedule_attempts"): boolean {
    const named = "select count(*) as n from sqlite_schema where name = ?";
    return this.ledger.read((database) => database.query<{ n: number }, [string]>(named).get(table)!.n > 0);
  }

  #rows(sinceUtcMs: number): readonly { readonly rowid: number; readonly attempt: Attempt }[] {
    if (!this.#isThere()) return [];
    const found = this.ledger.read((database) =>
      database
        .query<object, [string, number]>(
          `select rowid, ${columns} from schedule_attempts where rig = ? and begun_utc_ms >= ? order by begun_utc_ms, rowid`,
        )
        .all(this.rig, Math.round(sinceUtcMs)),
    );
    return found.flatMap((row) => {
      const { success, data } = attemptRow.safeParse(row);
      if (!success) return [];
      const { rowid, seal, ...kept } = data;
      const attempt = Object.fromEntries(
        Object.entries(kept).filter(([, value]) => value !== null),
      ) as unknown as Attempt;
      return seal === sealOf(this.rig, attempt) ? [{ rowid, attempt }] : [];
    });
  }
}

function valuesOf({
  entry,
  occasion,
  dueUtcMs,
  begunUtcMs,
  endedUtcMs,
  ended,
  exitCode,
  runId,
  because,
}: Attempt) {
  const when = [Math.round(dueUtcMs), Math.round(begunUtcMs)] as const;
  const end = endedUtcMs === undefined ? null : Math.round(endedUtcMs);
  return [
    entry,
    occasion,
    ...when,
    end,
    ended ?? null,
    exitCode ?? null,
    runId ?? null,
    because ?? null,
  ] as const;
}

function sealOf(rig: string, attempt: Attempt): string {
  return digestOf([rig, ...valuesOf(attempt)]);
}

function insertAttempt(database: Database, rig: string, attempt: Attempt): void {
  database
    .query("insert into schedule_attempts values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)")
    .run(rig, ...valuesOf(attempt), sealOf(rig, attempt));
}
