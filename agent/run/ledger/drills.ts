import { digestOf } from "./baseline-entries.ts";
import type { Ledger } from "./ledger.ts";

/** What a drill does to the agent while the telescope is open. */
export const drillParts = ["agent killed", "link cut", "terminal closed"] as const;
export type DrillPart = (typeof drillParts)[number];

/** One part of a drill, and who stood at the telescope and answers for it. */
export interface DrillRecord {
  readonly utcMs: number;
  readonly part: DrillPart;
  readonly passed: boolean;
  /** What was seen; a sentence without its full stop. */
  readonly text: string;
  readonly present: string;
}

const table = `create table if not exists drills (
  rig text not null, utc_ms integer not null, part text not null, passed integer not null, text text not null,
  present text not null, seal text not null) strict`;

export function saveDrill(
  ledger: Ledger,
  rig: string,
  { utcMs, part, passed, text, present }: DrillRecord,
): void {
  const values = [rig, Math.round(utcMs), part, passed ? 1 : 0, text, present] as const;
  ledger.write((database) => {
    database.run(table);
    database.query("insert into drills values (?, ?, ?, ?, ?, ?, ?)").run(...values, digestOf(values));
  });
}

/** The newest of each part, without those that are not as they were written. */
export function listLastDrills(ledger: Ledger, rig: string): readonly DrillRecord[] {
  type Row = Omit<DrillRecord, "passed"> & { readonly passed: 0 | 1; readonly seal: string };
  const rows = ledger.read((database) => {
    const there = database.query<{ n: number }, []>(
      "select count(*) as n from sqlite_schema where name = 'drills'",
    );
    if (there.get()!.n === 0) return [];
    return database
      .query<Row, [string]>(
        "select utc_ms as utcMs, part, passed, text, present, seal from drills where rig = ? order by utc_ms, rowid",
      )
      .all(rig);
  });
  const last = new Map<string, DrillRecord>();
  for (const { seal, passed, ...row } of rows)
    if (seal === digestOf([rig, row.utcMs, row.part, passed, row.text, row.present]))
      last.set(row.part, { ...row, passed: passed === 1 });
  return [...last.values()];
}
