import { dirname } from "node:path";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { type Front, newFront } from "../../safing/front.ts";
import type { KnownLight } from "../../safing/safing-tools.ts";
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
import type { RetreatRecord } from "../record/run-record.ts";
import { whyLeaveCovered } from "./cover-policy.ts";
import { type RestoredRig, restoreBaseline } from "./restore.ts";

export interface RestoreRunRequest {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  readonly ledger: Ledger;
  readonly clock: Clock;
  readonly log: Log;
  /** Those of this process's own run, which count even if they could not be written down. */
  readonly retreats?: readonly RetreatRecord[];
  /** What the run knows of the front and of the light; left out, nothing. */
  readonly front?: Front;
  readonly findings?: KnownLight;
  /** Warns whoever watches, while the rig is not safe yet. */
  readonly warn?: (text: string) => void;
}

/**
 * Puts back one run's baseline from the ledger and closes the run there when all of it is back.
 * Killed half way, it can be done again: what is back already is only read.
 */
export async function restoreRun(request: RestoreRunRequest, run: RetreatedRun): Promise<RestoredRig> {
  const { ledger, rig, rigFile, clock, log, warn } = request;
  const { runId } = run;
  const retreats = retreatsOf(request, run);
  const standing = retreats.filter((one) => one.kind !== "brightness" || !isConfirmedSince(one, rigFile));
  const trip = findUnconfirmedTrip(request, rigFile, dirname(run.folder));
  const retreatedBecause = [...standing.map(({ reason }) => reason), ...(trip ? [tripProblem(trip)] : [])];
  const restored = await restoreBaseline({
    rig,
    site: rigFile.site,
    clock,
    log,
    front: request.front ?? newFront(),
    findings: request.findings ?? { lightRate: {} },
    baseline: ledger.baselineOf(runId),
    signal: neverAborted, // nothing cuts a restore short
    retreatedBecause,
    mark: (entry, isBack) => ledger.markRestored(runId, entry, entry.setting.key, isBack),
    whyKeepCovered: (signal) => whyLeaveCovered({ rig, rigFile, clock, retreatedBecause }, signal),
    weatherAgainst: async (signal) =>
      retreats.find(({ kind }) => kind === "weather")?.reason ?? (await weatherNow(request, signal)),
    ...given({ warn }),
  });
  if (restored.settings.every((record) => record.state !== "different")) ledger.closeRun(runId);
  return restored;
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

export interface RecoveredRun extends RestoredRig {
  readonly runId: string;
}

/**
 * Puts back whatever runs of this rig left unfinished: a crash, a kill, a power cut, a device that had failed.
 * The newest first, so that the rig ends as it was before the oldest.
 */
export async function recoverUnfinishedRuns(request: RestoreRunRequest): Promise<readonly RecoveredRun[]> {
  const recovered: RecoveredRun[] = [];
  for (const run of request.ledger.unfinishedRuns(request.rigFile.rig).toReversed()) {
    recovered.push({ runId: run.runId, ...(await restoreRun(request, run)) });
  }
  return recovered;
}
