import { parseJson } from "../../../drivers/kit/parse-json.ts";
import type { KnownShadow } from "../../imaging/match/shadow-moves.ts";
import type { FlatInUse, LightRate, StepFindings } from "../../procedures/findings.ts";
import { clearestOf } from "../../procedures/light-rates.ts";
import { digestOf } from "./baseline-entries.ts";
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

interface FindingRow {
  readonly kind: string;
  readonly runId: string;
  readonly utcMs: number;
  readonly value: string;
  readonly seal: string | null;
}

/** Whether a row is as it was written; what a format without seals wrote is taken as it is. */
function isSealed(values: readonly unknown[], seal: string | null): boolean {
  return seal === null || seal === digestOf(values);
}

/** So many measurements of a light's rate say how bright it may be: some days of work. */
const ratesKept = 20;

/**
 * The newest of each kind that this rig, assembled like this, has found; empty for a new one. Of the light's rates the one
 * through the clearest sky too.
 * @param limitsSinceUtcMs what was measured before says nothing of how bright the light may be: a person has found the
 * filter in order after that had been taken for its loss
 */
export function readFindings(
  ledger: Ledger,
  { rig, trainMark }: Key,
  limitsSinceUtcMs = Number.NEGATIVE_INFINITY,
): StepFindings {
  const rows = ledger.read((database) =>
    database
      .query<FindingRow, [string, string]>(
        `select kind, run_id as runId, measured_utc_ms as utcMs, value, seal from findings
         where rig = ? and train_mark = ? order by measured_utc_ms, rowid`,
      )
      .all(rig, trainMark),
  );
  const findings: StepFindings = { lightRate: {} };
  const rates = new Map<string, LightRate[]>();
  for (const { kind, runId, utcMs, value, seal } of rows) {
    if (!isSealed([rig, trainMark, kind, runId, utcMs, value], seal)) continue;
    const [name, blur] = kind.split(".") as [string, string?];
    const [into, key] = blur === undefined ? [findings, name] : [findings.lightRate, blur];
    const found = parseJson(value);
    if (found === undefined) continue;
    Object.assign(into, { [key]: found });
    if (blur !== undefined && utcMs > limitsSinceUtcMs)
      rates.set(blur, [...(rates.get(blur) ?? []), found as LightRate]);
  }
  const clearest = [...rates].map(([blur, all]) => {
    const { gain } = all.at(-1)!;
    return [blur, clearestOf(all.slice(-ratesKept).filter((rate) => rate.gain === gain))] as const;
  });
  if (clearest.length > 0) findings.clearestRate = Object.fromEntries(clearest);
  return findings;
}

/** Keeps what this run measured itself; what it took over from history is not written again. */
export function saveFindings(
  ledger: Ledger,
  { rig, trainMark, runId, sinceUtcMs }: Key & { runId: string; sinceUtcMs: number },
  findings: StepFindings,
  nowUtcMs: number,
): void {
  const { cameraOnSky, lightRate, topCodeAdu, conversion, response } = findings;
  const rates = Object.entries(lightRate).map(([blur, rate]) => [`lightRate.${blur}`, rate] as const);
  const values = [
    ["cameraOnSky", cameraOnSky],
    ["conversion", conversion],
    ["response", response],
    ...rates,
  ] as const;
  const save = (kind: string, value: object | number, utcMs: number) => {
    if (utcMs < sinceUtcMs) return;
    const values = [rig, trainMark, kind, runId, Math.round(utcMs), JSON.stringify(value)] as const;
    ledger.database
      .query("insert into findings values (?, ?, ?, ?, ?, ?, ?)")
      .run(...values, digestOf(values));
  };
  ledger.write(() => {
    for (const [kind, value] of values) if (value) save(kind, value, value.measuredUtcMs);
    if (topCodeAdu !== undefined) save("topCodeAdu", topCodeAdu, nowUtcMs);
  });
}

export function addMaster(ledger: Ledger, { rig, trainMark }: Key, master: MasterRow): void {
  const { kind, runId, file, madeUtcMs, verdict, facts } = master;
  const made = [Math.round(madeUtcMs), verdict, JSON.stringify(facts)] as const;
  const values = [rig, trainMark, kind, runId, file, ...made] as const;
  ledger.write((database) =>
    database.query("insert into masters values (?, ?, ?, ?, ?, ?, ?, ?, ?)").run(...values, digestOf(values)),
  );
}

/** Newest first. */
export function mastersOf(ledger: Ledger, { rig, trainMark }: Key): readonly MasterRow[] {
  const rows = listMasterRows(ledger, "where rig = ? and train_mark = ?", [rig, trainMark]);
  return rows.map(({ kind, runId, file, madeUtcMs, verdict, facts }) => {
    return { kind, runId, file, madeUtcMs, verdict, facts };
  });
}

/** Newest first; without those that are not as they were written. */
function listMasterRows(
  ledger: Ledger,
  where: "where rig = ? and train_mark = ?" | "where kind = 'flat'" | "",
  given: string[],
): readonly (MasterRow & Key)[] {
  type Row = Omit<MasterRow, "facts"> & Key & { readonly facts: string; readonly seal: string | null };
  const rows = ledger.read((database) =>
    database
      .query<Row, string[]>(
        `select rig, train_mark as trainMark, kind, run_id as runId, file, made_utc_ms as madeUtcMs, verdict, facts, seal
       from masters ${where} order by made_utc_ms desc`,
      )
      .all(...given),
  );
  return rows.flatMap(({ seal, ...row }) => {
    const { rig, trainMark, kind, runId, file, madeUtcMs, verdict } = row;
    const facts = parseJson(row.facts);
    const sealed = isSealed([rig, trainMark, kind, runId, file, madeUtcMs, verdict, row.facts], seal);
    return sealed && facts !== null && typeof facts === "object"
      ? [{ ...row, facts: facts as MasterRow["facts"] }]
      : [];
  });
}

/** Flats of that train that may serve again, newest first. */
export function listUsableFlats(ledger: Ledger, key: Key): readonly FlatInUse[] {
  return mastersOf(ledger, key).flatMap(({ kind, file, madeUtcMs, verdict, facts }): FlatInUse[] => {
    if (kind !== "flat" || (verdict !== "good" && verdict !== "usable")) return [];
    const dust = facts.dust as readonly KnownShadow[] | undefined; // as this program wrote it
    return [{ file, from: "ledger", madeUtcMs, verdict, ...(dust ? { dust } : {}) }];
  });
}

/** Every master of every rig with what belongs to it, as whole paths; `undefined` when a row is not as it was written. */
export function listMasterFiles(ledger: Ledger): readonly string[] | undefined {
  const listed = listMasterRows(ledger, "", []);
  const count = ledger.read((database) =>
    database.query<{ n: number }, []>("select count(*) as n from masters").get(),
  );
  if (listed.length !== count?.n) return undefined;
  return listed.flatMap(({ file, facts }) => (typeof facts.dark === "string" ? [file, facts.dark] : [file]));
}

/** Every flat of every rig, newest first. */
export function listFlats(ledger: Ledger): readonly (MasterRow & Key)[] {
  return listMasterRows(ledger, "where kind = 'flat'", []);
}
