import { dirname } from "node:path";
import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { checkConditionsOnce } from "../guard/guard.ts";
import { weatherWatches } from "../guard/guard-watches.ts";
import { tripProblem } from "../guard/sun-filter.ts";
import type { Ledger } from "../ledger/ledger.ts";
import {
  findUnconfirmedTrip,
  isConfirmedSince,
  listRetreatsOfRun,
  type RetreatedRun,
} from "../ledger/retreats.ts";
import type { RetreatRecord, SettingRecord } from "../record/run-record.ts";
import { mayOpenCover } from "./cover-policy.ts";
import { restoreBaseline } from "./restore.ts";

export interface RestoreRunRequest {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly ledger: Ledger;
  readonly clock: Clock;
  readonly log: Log;
  /** Those of this process's own run, which count even if they could not be written down. */
  readonly retreats?: readonly RetreatRecord[];
}

/**
 * Puts back one run's baseline from the ledger and closes the run there when all of it is back.
 * Killed half way, it can be done again: what is back already is only read.
 */
export async function restoreRun(
  request: RestoreRunRequest,
  run: RetreatedRun,
): Promise<readonly SettingRecord[]> {
  const { ledger, rig, rigFile, clock, log } = request;
  const { runId } = run;
  const retreatedBecause = (): readonly string[] => {
    const standing = retreatsOf(request, run).filter(
      (one) => one.kind !== "brightness" || !isConfirmedSince(one, rigFile),
    );
    const trip = findUnconfirmedTrip(request, rigFile, dirname(run.folder));
    return [...standing.map(({ reason }) => reason), ...(trip ? [tripProblem(trip)] : [])];
  };
  const records = await restoreBaseline({
    rig,
    clock,
    log,
    baseline: ledger.baselineOf(runId),
    signal: neverAborted, // nothing cuts a restore short
    mark: (entry, restored) => ledger.markRestored(runId, entry, entry.setting.key, restored),
    mayOpenCover: (signal) =>
      mayOpenCover({ rig, rigFile, clock, retreatedBecause: retreatedBecause() }, signal),
    weatherAgainst: async (signal) =>
      retreatsOf(request, run).find(({ kind }) => kind === "weather")?.reason ??
      (await weatherNow(request, signal)),
  });
  if (records.every((record) => record.state !== "different")) ledger.closeRun(runId);
  return records;
}

function retreatsOf(request: RestoreRunRequest, run: RetreatedRun): readonly RetreatRecord[] {
  const own = (request.retreats ?? []).filter(({ runId }) => runId === run.runId);
  return [...own, ...listRetreatsOfRun(request, request.rigFile, run)];
}

/** As the guard sees it: a station that is silent gets its grace, and is as good as rain after it. */
async function weatherNow(
  { rig, rigFile, clock }: RestoreRunRequest,
  signal: AbortSignal,
): Promise<string | undefined> {
  const watches = weatherWatches(rig, rigFile.limits.silenceSecondsMax);
  return (await checkConditionsOnce(watches, { clock, signal }))[0];
}

export interface RecoveredRun {
  readonly runId: string;
  readonly settings: readonly SettingRecord[];
}

/**
 * Puts back whatever runs of this rig left unfinished: a crash, a kill, a power cut, a device that had failed.
 * The newest first, so that the rig ends as it was before the oldest.
 */
export async function recoverUnfinishedRuns(request: RestoreRunRequest): Promise<readonly RecoveredRun[]> {
  const recovered: RecoveredRun[] = [];
  for (const run of request.ledger.unfinishedRuns(request.rigFile.rig).toReversed()) {
    recovered.push({ runId: run.runId, settings: await restoreRun(request, run) });
  }
  return recovered;
}
