import type { KnownShadow } from "../../imaging/match/shadow-moves.ts";
import type {
  CameraOnSky,
  FlatInUse,
  LightRate,
  MeasuredConversion,
  StepFindings,
} from "../../procedures/findings.ts";
import type { Ledger } from "./ledger.ts";

/** What one run tells the next about the same rig with the same optical train. */
type KeptFinding =
  | { readonly kind: "cameraOnSky"; readonly value: CameraOnSky }
  | { readonly kind: `lightRate.${keyof StepFindings["lightRate"]}`; readonly value: LightRate }
  | { readonly kind: "conversion"; readonly value: MeasuredConversion }
  | { readonly kind: "topCodeAdu"; readonly value: number };

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
  for (const row of rows) {
    const { kind, value } = { kind: row.kind, value: JSON.parse(row.value) } as KeptFinding;
    if (kind === "cameraOnSky") findings.cameraOnSky = value;
    else if (kind === "conversion") findings.conversion = value;
    else if (kind === "topCodeAdu") findings.topCodeAdu = value;
    else findings.lightRate[kind.slice("lightRate.".length) as keyof StepFindings["lightRate"]] = value;
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
  const kept: { finding: KeptFinding; utcMs: number }[] = [];
  const { cameraOnSky, lightRate, topCodeAdu, conversion } = findings;
  if (cameraOnSky)
    kept.push({ finding: { kind: "cameraOnSky", value: cameraOnSky }, utcMs: cameraOnSky.measuredUtcMs });
  if (conversion)
    kept.push({ finding: { kind: "conversion", value: conversion }, utcMs: conversion.measuredUtcMs });
  for (const [blur, rate] of Object.entries(lightRate)) {
    const kind = `lightRate.${blur as keyof StepFindings["lightRate"]}` as const;
    kept.push({ finding: { kind, value: rate }, utcMs: rate.measuredUtcMs });
  }
  if (topCodeAdu !== undefined)
    kept.push({ finding: { kind: "topCodeAdu", value: topCodeAdu }, utcMs: nowUtcMs });
  const insert = ledger.database.query("insert into findings values (?, ?, ?, ?, ?, ?)");
  ledger.database.transaction(() => {
    for (const { finding, utcMs } of kept) {
      if (utcMs < sinceUtcMs) continue;
      insert.run(rig, trainMark, finding.kind, runId, Math.round(utcMs), JSON.stringify(finding.value));
    }
  })();
}

export function addMaster(ledger: Ledger, { rig, trainMark }: Key, master: MasterRow): void {
  ledger.database
    .query("insert into masters values (?, ?, ?, ?, ?, ?, ?, ?)")
    .run(
      rig,
      trainMark,
      master.kind,
      master.runId,
      master.file,
      Math.round(master.madeUtcMs),
      master.verdict,
      JSON.stringify(master.facts),
    );
}

/** Newest first. */
export function mastersOf(ledger: Ledger, { rig, trainMark }: Key): readonly MasterRow[] {
  type Row = {
    kind: "flat" | "dark";
    run_id: string;
    file: string;
    made_utc_ms: number;
    verdict: string;
    facts: string;
  };
  return ledger.database
    .query<Row, [string, string]>(
      "select * from masters where rig = ? and train_mark = ? order by made_utc_ms desc",
    )
    .all(rig, trainMark)
    .map((row) => ({
      kind: row.kind,
      runId: row.run_id,
      file: row.file,
      madeUtcMs: row.made_utc_ms,
      verdict: row.verdict,
      facts: JSON.parse(row.facts) as Record<string, unknown>,
    }));
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
export function listFlats(ledger: Ledger): readonly (Omit<MasterRow, "kind"> & Key)[] {
  type Row = {
    rig: string;
    train_mark: string;
    run_id: string;
    file: string;
    made_utc_ms: number;
    verdict: string;
    facts: string;
  };
  return ledger.database
    .query<Row, []>("select * from masters where kind = 'flat' order by made_utc_ms desc")
    .all()
    .map((row) => ({
      rig: row.rig,
      trainMark: row.train_mark,
      runId: row.run_id,
      file: row.file,
      madeUtcMs: row.made_utc_ms,
      verdict: row.verdict,
      facts: JSON.parse(row.facts) as Record<string, unknown>,
    }));
}
