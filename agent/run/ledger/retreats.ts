import { closeSync, existsSync, fsyncSync, openSync, readdirSync, readFileSync, writeSync } from "node:fs";
import { dirname, join } from "node:path";
import * as z from "zod";
import type { Log } from "../../../drivers/kit/log.ts";
import { dayOrTimeUtcMs } from "../../../plans/fields.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import { isInMemory, type Ledger } from "./ledger.ts";

/** In the run's folder, one JSON object a line: what is left when the ledger is not. */
const fileName = "retreats.ndjson";

const retreatLine = z.object({
  rig: z.string(),
  runId: z.string(),
  utc: z.iso.datetime(),
  kind: z.enum(["brightness", "weather", "other"]),
  reason: z.string(),
  lastConfirmed: z.string(),
});

export interface RetreatStore {
  readonly ledger: Ledger;
  readonly log: Log;
}

/** The run whose retreats are meant; a rehearsal's ledger is in memory, and it leaves no file. */
export interface RetreatedRun {
  readonly runId: string;
  readonly folder: string;
}

/** Writes down why a rig retreats, in two places, synced. A place that can't be written is only logged: never throws. */
export function recordRetreat({ ledger, log }: RetreatStore, retreat: RetreatRecord, folder: string): void {
  const { rig, runId, utcMs, kind, reason, lastConfirmed } = retreat;
  const attempt = (place: string, write: () => void) => {
    try {
      write();
    } catch (error) {
      log.warn({ place, error: String(error) }, "could not write down why the rig retreats");
    }
  };
  if (!isInMemory(ledger.file)) attempt(fileName, () => appendLine(join(folder, fileName), retreat));
  attempt(ledger.file, () => {
    ledger.database
      .query("insert into retreats values (?, ?, ?, ?, ?, ?)")
      .run(rig, runId, utcMs, kind, reason, lastConfirmed);
  });
}

function appendLine(path: string, { utcMs, ...retreat }: RetreatRecord): void {
  const line = { utc: new Date(utcMs).toISOString(), ...retreat } satisfies z.infer<typeof retreatLine>;
  const handle = openSync(path, "a");
  try {
    writeSync(handle, `${JSON.stringify(line)}\n`);
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}

/**
 * Why a run retreated, by either place. What can't be read counts as a retreat for a reason that is not known.
 * @throws nothing
 */
export function listRetreatsOfRun(
  store: RetreatStore,
  rigFile: RigFile,
  { runId, folder }: RetreatedRun,
): readonly RetreatRecord[] {
  const inLedger = readLedger(store, rigFile, "run_id = ?", runId);
  const inFile = isInMemory(store.ledger.file) ? [] : readFile(join(folder, fileName), rigFile);
  const known = new Set(inLedger.map(keyOf));
  return [...inLedger, ...inFile.filter((retreat) => !known.has(keyOf(retreat)))].filter(
    (retreat) => retreat.runId === runId || retreat.runId === unknownRun,
  );
}

/**
 * The newest retreat of that rig from too much light after which no person has confirmed the Sun filter. Looked for in
 * the ledger and in the run folders that lie beside one another, `runsFolder` and those of the ledger's runs of that rig.
 * @throws nothing
 */
export function findUnconfirmedTrip(
  store: RetreatStore,
  rigFile: RigFile,
  runsFolder?: string,
): RetreatRecord | undefined {
  const { rig } = rigFile;
  const retreats = [
    ...readLedger(store, rigFile, "rig = ? and kind = 'brightness'", rig),
    ...listRunFolders(store, rig, runsFolder).flatMap((folder) => readFile(join(folder, fileName), rigFile)),
  ];
  return retreats
    .filter((one) => one.rig === rig && one.kind === "brightness" && !isConfirmedSince(one, rigFile))
    .toSorted((a, b) => b.utcMs - a.utcMs)[0];
}

/** Whether a person has looked at the filter after that: the statement that was there before says nothing of it. */
export function isConfirmedSince(retreat: RetreatRecord, { sunFilter }: Pick<RigFile, "sunFilter">): boolean {
  const { lastConfirmed } = sunFilter;
  return lastConfirmed !== retreat.lastConfirmed && dayOrTimeUtcMs(lastConfirmed) > retreat.utcMs;
}

function listRunFolders({ ledger }: RetreatStore, rig: string, runsFolder?: string): readonly string[] {
  if (isInMemory(ledger.file)) return [];
  let known: string[] = [];
  try {
    known = ledger.runs(rig).map((row) => dirname(row.folder));
  } catch {
    // The ledger's own failure is told by whoever opened it.
  }
  const parents = new Set(runsFolder === undefined ? known : [...known, runsFolder]);
  return [...parents].flatMap((parent) => {
    if (!existsSync(parent)) return [];
    try {
      return readdirSync(parent).map((name) => join(parent, name));
    } catch {
      return [];
    }
  });
}

type Column = "run_id = ?" | "rig = ? and kind = 'brightness'";

function readLedger(
  { ledger, log }: RetreatStore,
  { rig, sunFilter }: RigFile,
  where: Column,
  value: string,
): readonly RetreatRecord[] {
  try {
    return ledger.database
      .query<RetreatRecord, [string]>(
        `select rig, run_id as runId, utc_ms as utcMs, kind, reason, last_confirmed as lastConfirmed
         from retreats where ${where} order by utc_ms`,
      )
      .all(value);
  } catch (error) {
    log.warn({ file: ledger.file, error: String(error) }, "could not read why the rig retreated");
    return [unknownRetreat(rig, sunFilter.lastConfirmed, "the ledger can't be read")];
  }
}

function readFile(path: string, { rig, sunFilter }: RigFile): readonly RetreatRecord[] {
  let text: string;
  try {
    text = readFileSync(path, "utf8");
  } catch (error) {
    const code = (error as NodeJS.ErrnoException).code;
    if (code === "ENOENT" || code === "ENOTDIR") return [];
    return [unknownRetreat(rig, sunFilter.lastConfirmed, `${path} can't be read`)];
  }
  return text
    .split("\n")
    .filter((line) => line.trim() !== "")
    .map((line) => {
      const read = retreatLine.safeParse(parseJson(line));
      if (!read.success)
        return unknownRetreat(rig, sunFilter.lastConfirmed, `a line of ${path} can't be read`);
      const { utc, ...retreat } = read.data;
      return { ...retreat, utcMs: Date.parse(utc) };
    });
}

function parseJson(line: string): unknown {
  try {
    return JSON.parse(line);
  } catch {
    return undefined;
  }
}

/** Stands for the run that is asked about. */
const unknownRun = "";

function unknownRetreat(rig: string, lastConfirmed: string, why: string): RetreatRecord {
  const reason = `why it retreated, if it did, is not known: ${why}`;
  return { rig, runId: unknownRun, utcMs: 0, kind: "other", reason, lastConfirmed };
}

const keyOf = ({ runId, utcMs, kind, reason }: RetreatRecord) => JSON.stringify([runId, utcMs, kind, reason]);
