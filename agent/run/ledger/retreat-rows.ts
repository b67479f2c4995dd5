import type { Database } from "bun:sqlite";
import type { RetreatRecord } from "../record/run-record.ts";
import { digestOf } from "./baseline-entries.ts";
import type { RetreatsRead } from "./retreats-file.ts";

export function insertRetreat(database: Database, retreat: RetreatRecord): void {
  const { rig, runId, utcMs, kind, reason, lastConfirmed } = retreat;
  const values = [rig, runId, utcMs, kind, reason, lastConfirmed] as const;
  database.query("insert into retreats values (?, ?, ?, ?, ?, ?, ?)").run(...values, digestOf(values));
}

/** Of every rig, oldest first. */
export function readRetreatRows(database: Database): RetreatsRead {
  const rows = database
    .query<RetreatRecord & { readonly seal: string }, []>(
      `select rig, run_id as runId, utc_ms as utcMs, kind, reason, last_confirmed as lastConfirmed, seal
       from retreats order by utc_ms`,
    )
    .all();
  const retreats = rows.flatMap(({ seal, ...retreat }) =>
    seal === digestOf(Object.values(retreat)) ? [retreat] : [],
  );
  return { retreats, unreadable: retreats.length < rows.length };
}
