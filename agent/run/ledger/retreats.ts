import type { Log } from "../../../drivers/kit/log.ts";
import { dayOrTimeUtcMs } from "../../../plans/fields.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import type { Ledger } from "./ledger.ts";
import { isInMemory } from "./ledger-tables.ts";
import { insertRetreat, readRetreatRows } from "./retreat-rows.ts";
import { type RetreatsRead, readRetreats } from "./retreats-file.ts";
import { listRunFolders } from "./run-folders.ts";
import type { RunRecords } from "./unfinished-runs.ts";

/** Why a run retreated, into the ledger: it may keep its caller waiting. A ledger that refuses is only logged. */
export function saveRetreats(ledger: Ledger, retreats: readonly RetreatRecord[], log: Log): void {
  if (retreats.length === 0) return;
  try {
    ledger.write((database) => {
      for (const retreat of retreats) insertRetreat(database, retreat);
    });
  } catch (error) {
    log.warn({ file: ledger.file, error: String(error) }, "could not write down why the rig retreated");
  }
}

/** Why a run retreated, by either record. What can't be read counts as a retreat for a reason that is not known. */
export function listRetreatsOfRun(
  { ledger }: RunRecords,
  { sunFilter, rig }: RigFile,
  { runId, folder }: { readonly runId: string; readonly folder: string },
): readonly RetreatRecord[] {
  const inLedger = readLedger(ledger);
  const inFolder = ledger && isInMemory(ledger.file) ? nothing : readRetreats(folder);
  const known = [...inLedger.retreats, ...inFolder.retreats].filter((retreat) => retreat.runId === runId);
  const all = new Map(known.map((retreat) => [JSON.stringify(retreat), retreat]));
  if (!inLedger.unreadable && !inFolder.unreadable) return [...all.values()];
  const reason = "why it retreated, if it did, can't be read";
  const { lastConfirmed } = sunFilter;
  return [...all.values(), { rig, runId, utcMs: 0, kind: "other", reason, lastConfirmed }];
}

/** The newest retreat of that rig from too much light after which no person has confirmed the Sun filter. */
export function findUnconfirmedTrip(records: RunRecords, rigFile: RigFile): RetreatRecord | undefined {
  return tripsOf(records, rigFile).find((trip) => !isConfirmedSince(trip, rigFile));
}

/** When that rig last retreated from too much light with a filter that a person then found in order [UTC ms]. */
export function lastFalseTripUtcMs(records: RunRecords, rigFile: RigFile): number | undefined {
  return tripsOf(records, rigFile).find((trip) => isConfirmedSince(trip, rigFile))?.utcMs;
}

/** Retreats of that rig from too much light, newest first. */
function tripsOf({ ledger, ledgerFile, runsFolders }: RunRecords, { rig }: RigFile): RetreatRecord[] {
  const inFolders = listRunFolders(ledgerFile, runsFolders).flatMap(
    (folder) => readRetreats(folder).retreats,
  );
  return [...readLedger(ledger).retreats, ...inFolders]
    .filter((one) => one.rig === rig && one.kind === "brightness")
    .toSorted((a, b) => b.utcMs - a.utcMs);
}

/** Whether a person has looked at the filter after that: the statement that was there before says nothing of it. */
export function isConfirmedSince(retreat: RetreatRecord, { sunFilter }: Pick<RigFile, "sunFilter">): boolean {
  const { lastConfirmed } = sunFilter;
  return lastConfirmed !== retreat.lastConfirmed && dayOrTimeUtcMs(lastConfirmed) > retreat.utcMs;
}

const nothing = { retreats: [], unreadable: false } as const;

function readLedger(ledger: Ledger | undefined): RetreatsRead {
  try {
    return ledger ? readRetreatRows(ledger.database) : nothing;
  } catch {
    return { retreats: [], unreadable: true };
  }
}
