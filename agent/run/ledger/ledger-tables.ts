import type { Database } from "bun:sqlite";

/** 2 added seals and the retreats, which an earlier version must not overlook. */
export const ledgerFormat = 2;

/** Tells the file from other programs' databases; `EvFl` as a number. */
const applicationId = 0x45_76_46_6c;

const tables = `
  create table if not exists runs (
    run_id text primary key, rig text not null, plan text not null, folder text not null,
    started_utc_ms integer not null, stage text not null, ended text, exit_code integer,
    baseline_digest text, seal text) strict;
  create table if not exists baselines (
    run_id text not null references runs, position integer not null, role text not null, device text not null,
    key text not null, value text not null, unit text, restored integer not null default 0,
    primary key (run_id, position)) strict;
  create table if not exists findings (
    rig text not null, train_mark text not null, kind text not null, run_id text not null,
    measured_utc_ms integer not null, value text not null, seal text) strict;
  create index if not exists findings_newest on findings (rig, train_mark, kind, measured_utc_ms);
  create table if not exists masters (
    rig text not null, train_mark text not null, kind text not null, run_id text not null, file text not null,
    made_utc_ms integer not null, verdict text not null, facts text not null, seal text) strict;
  create table if not exists retreats (
    rig text not null, run_id text not null, utc_ms integer not null, kind text not null, reason text not null,
    last_confirmed text not null, seal text not null) strict;
  create index if not exists retreats_of_run on retreats (run_id);
`;

/** How the tables of a file that is open stand to ours; nothing is written. */
export function judgeTables(database: Database): "new" | "ours" | "earlier" | "later" | "foreign" {
  const number = (pragma: string) =>
    Object.values(database.query<Record<string, number>, []>(`pragma ${pragma}`).get() ?? {})[0] ?? 0;
  const version = number("user_version");
  const names = database
    .query<{ name: string }, []>("select name from sqlite_schema where type = 'table'")
    .all()
    .map(({ name }) => name);
  if (names.length === 0 && version === 0) return "new";
  const isOurs = number("application_id") === applicationId;
  if (!isOurs && !(version === 1 && names.includes("runs") && names.includes("baselines"))) return "foreign";
  return version > ledgerFormat ? "later" : version === ledgerFormat ? "ours" : "earlier";
}

/** Makes the tables that are not there, in one transaction; `sealAll` then seals the runs of an earlier format. */
export function makeTables(database: Database, from: "new" | "earlier", sealAll: () => void): void {
  database.transaction(() => {
    if (from === "earlier") {
      database.run("alter table runs add column baseline_digest text");
      for (const table of ["runs", "findings", "masters"])
        database.run(`alter table ${table} add column seal text`);
    }
    database.run(tables);
    if (from === "earlier") sealAll();
    database.run(`pragma application_id = ${applicationId}`);
    database.run(`pragma user_version = ${ledgerFormat}`);
  })();
}

/** Of a rehearsal: what a simulated rig taught is gone with the process. */
export function isInMemory(ledgerFile: string): boolean {
  return ledgerFile === ":memory:";
}
