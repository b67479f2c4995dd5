import type { KnownShadow } from "../../imaging/match/shadow-moves.ts";
import type { FlatInUse, StepFindings } from "../../procedures/findings.ts";
import type { Ledger } from "./ledger.ts";

export interface MasterRow {
  readonly kind: "flat" | "dark";
  readonly runId: string;
  readonly file: string;
  readonly madeUtcMs: number;
  readonly verdict: string;
  readonly facts: Readonly<Record<string, unknown>>;
}

interface Key {
  readonly rig: string;
  readonly trainMark: string;
}

/** The newest of each kind that this rig, assembled like this, has found; empty for a new one. */
export function readFindings(ledger: Ledger, { rig, trainMark }: Key): StepFindings {
  const rows = ledger.database
    .query<{ kind: string; value: string }, [string, string]>(
      `select kind, value from findings where rig = ? and train_mark = ? order by measured_utc_ms, rowid`,
    )
    .all(rig, trainMark);
  const findings: StepFindings = { lightRate: {} };
  for (const { kind, value } of rows) {
    const [name, blur] = kind.split(".") as [string, string?];
    const [into, key] = blur === undefined ? [findings, name] : [findings.lightRate, blur];
    Object.assign(into, { [key]: JSON.parse(value) });
  }
  return findings;
}

/** Keeps what this run measured itself; what it took over from history is not written again. */
export function saveFindings(
  ledger: Ledger,
  { rig, trainMark, runId, sinceUtcMs }: Key & { runId: string; sinceUtcMs: number },
  findings: StepFindings,
  nowUtcMs: number,
): void {
  const { cameraOnSky, lightRate, topCodeAdu, conversion } = findings;
  const rates = Object.entries(lightRate).map(([blur, rate]) => [`lightRate.${blur}`, rate] as const);
  const values = [["cameraOnSky", cameraOnSky], ["conversion", conversion], ...rates] as const;
  const insert = ledger.database.query("insert into findings values (?, ?, ?, ?, ?, ?)");
  const save = (kind: string, value: object | number, utcMs: number) => {
    if (utcMs >= sinceUtcMs)
      insert.run(rig, trainMark, kind, runId, Math.round(utcMs), JSON.stringify(value));
  };
  ledger.database.transaction(() => {
    for (const [kind, value] of values) if (value) save(kind, value, value.measuredUtcMs);
    if (topCodeAdu !== undefined) save("topCodeAdu", topCodeAdu, nowUtcMs);
  })();
}

export function addMaster(ledger: Ledger, { rig, trainMark }: Key, master: MasterRow): void {
  const { kind, runId, file, madeUtcMs, verdict, facts } = master;
  ledger.database
    .query("insert into masters values (?, ?, ?, ?, ?, ?, ?, ?)")
    .run(rig, trainMark, kind, runId, file, Math.round(madeUtcMs), verdict, JSON.stringify(facts));
}

/** Newest first. */
export function mastersOf(ledger: Ledger, { rig, trainMark }: Key): readonly MasterRow[] {
  type Row = Omit<MasterRow, "facts"> & { readonly facts: string };
  const rows = ledger.database.query<Row, [string, string]>(
    `select ${masterColumns} from masters where rig = ? and train_mark = ? order by made_utc_ms desc`,
  );
  return rows.all(rig, trainMark).map(withFacts);
}

const masterColumns = "kind, run_id as runId, file, made_utc_ms as madeUtcMs, verdict, facts";

function withFacts<Row extends { readonly facts: string }>(row: Row) {
  return { ...row, facts: JSON.parse(row.facts) as MasterRow["facts"] };
}

/** Flats of that train that may serve again, newest first. */
export function listUsableFlats(ledger: Ledger, key: Key): readonly FlatInUse[] {
  return mastersOf(ledger, key).flatMap(({ kind, file, madeUtcMs, verdict, facts }): FlatInUse[] => {
    if (kind !== "flat" || (verdict !== "good" && verdict !== "usable")) return [];
    const dust = facts.dust as readonly KnownShadow[] | undefined; // as this program wrote it
    return [{ file, from: "ledger", madeUtcMs, verdict, ...(dust ? { dust } : {}) }];
  });
}

/** Every flat of every rig, newest first. */
export function listFlats(ledger: Ledger): readonly (MasterRow & Key)[] {
  type Row = Omit<MasterRow, "facts"> & Key & { readonly facts: string };
  const rows = ledger.database.query<Row, []>(
    `select rig, train_mark as trainMark, ${masterColumns} from masters where kind = 'flat' order by made_utc_ms desc`,
  );
  return rows.all().map(withFacts);
}
