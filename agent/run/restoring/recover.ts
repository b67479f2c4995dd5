import type { Clock } from "../../../drivers/kit/clock.ts";
import { given } from "../../../drivers/kit/given.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import { type Front, newFront } from "../../safing/front.ts";
import { makeSafe } from "../../safing/make-safe.ts";
import type { KnownLight } from "../../safing/safing-tools.ts";
import { checkConditionsOnce } from "../guard/guard.ts";
import { weatherWatches } from "../guard/guard-watches.ts";
import { tripProblem } from "../guard/sun-filter.ts";
import { closeRun } from "../ledger/baseline.ts";
import { findUnconfirmedTrip, isConfirmedSince, listRetreatsOfRun } from "../ledger/retreats.ts";
import type { RunRecords, UnfinishedRun } from "../ledger/unfinished-runs.ts";
import type { RetreatRecord } from "../record/run-record.ts";
import { whyLeaveCovered } from "./cover-policy.ts";
import { type RestoredRig, restoreBaseline } from "./restore.ts";

export interface RestoreRunRequest {
  readonly rig: Rig;
  readonly rigFile: RigFile;
  /** What they can't tell or take changes nothing of how the rig is put back. */
  readonly records: RunRecords;
  readonly clock: Clock;
  readonly log: Log;
  /** What the run knows of the front and of the light; left out, nothing. */
  readonly front?: Front;
  readonly findings?: KnownLight;
  /** Warns whoever watches, while the rig is not safe yet. */
  readonly warn?: (text: string) => void;
}

export interface RecoveredRun extends RestoredRig {
  readonly runId: string;
  readonly folder: string;
  /** Neither record of its baseline is as it was written: the rig was made safe, and nothing was put back. */
  readonly baselineLost: boolean;
  /** Why it could not be written down that the run is put back. */
  readonly unwritten: readonly string[];
}

/** A run with why the telescope may have to stay covered: its own retreats, and a trip of the rig that still stands. */
export interface RunToRestore extends UnfinishedRun {
  readonly retreats: readonly RetreatRecord[];
}

/**
 * Puts back one run's baseline and closes the run in its records when all of it is back; they are not looked at before.
 * Killed half way, it can be done again: what is back already is only read.
 */
export async function restoreRun(request: RestoreRunRequest, run: RunToRestore): Promise<RecoveredRun> {
  const { records, rig, rigFile, clock, log, warn } = request;
  const { runId, folder, baseline, retreats } = run;
  const signal = neverAborted; // nothing cuts a restore short
  const front = request.front ?? newFront();
  // What the process that is gone knew against its cover: this one has no light to compare a frame with.
  const liar = request.front ? undefined : retreats.find(({ kind }) => kind === "cover");
  if (liar) front.contradiction = liar.reason;
  const findings = request.findings ?? { lightRate: {} };
  const safing = { rig, site: rigFile.site, clock, log, front, findings };
  if (!baseline) {
    const safety = await makeSafe(safing, { goal: "covered and off the Sun", signal, ...given({ warn }) });
    return { runId, folder, settings: [], safety, baselineLost: true, unwritten: [] };
  }
  const retreatedBecause = standingReasons(retreats, rigFile);
  const restored = await restoreBaseline({
    ...safing,
    baseline,
    signal,
    retreatedBecause,
    whyKeepCovered: (limited) => whyLeaveCovered({ rig, rigFile, clock, retreatedBecause }, limited),
    weatherAgainst: async (limited) =>
      retreats.find(({ kind }) => kind === "weather")?.reason ?? (await weatherNow(request, limited)),
    ...given({ warn }),
  });
  const isBack = restored.settings.every((record) => record.state !== "different");
  const unwritten = isBack ? closeRun(records.ledger, run, "put back") : [];
  return { runId, folder, ...restored, baselineLost: false, unwritten };
}

function standingReasons(retreats: readonly RetreatRecord[], rigFile: RigFile): readonly string[] {
  const reasons = retreats.flatMap((one) => {
    if (one.kind !== "brightness") return [one.reason];
    return isConfirmedSince(one, rigFile) ? [] : [tripProblem(one)];
  });
  return [...new Set(reasons)];
}

/** As the guard sees it: a station that is silent gets its grace, and is as good as rain after it. */
async function weatherNow(
  { rig, rigFile, clock }: RestoreRunRequest,
  signal: AbortSignal,
): Promise<string | undefined> {
  const watches = weatherWatches(rig, rigFile.limits.silenceSecondsMax);
  return (await checkConditionsOnce(watches, { clock, signal }))[0];
}

/**
 * Puts back whatever runs of this rig left unfinished: a crash, a kill, a power cut, a device that had failed.
 * The newest first, so that the rig ends as it was before the oldest.
 * @param runs oldest first
 */
export async function recoverUnfinishedRuns(
  request: RestoreRunRequest,
  runs: readonly UnfinishedRun[],
): Promise<readonly RecoveredRun[]> {
  const { records, rigFile } = request;
  const trip = findUnconfirmedTrip(records, rigFile);
  const recovered: RecoveredRun[] = [];
  for (const run of runs.toReversed()) {
    const retreats = [...listRetreatsOfRun(records, rigFile, run), ...(trip ? [trip] : [])];
    recovered.push(await restoreRun(request, { ...run, retreats }));
  }
  return recovered;
}

/** A run that came no further than connecting has moved nothing: then nothing is moved to put it back either. */
export function purposeOfRestoring(runs: readonly UnfinishedRun[]): "putting back" | "making safe" {
  const hasMoved = ({ baseline }: UnfinishedRun) =>
    baseline === undefined || baseline.some(({ setting }) => setting.key !== connectionKey);
  return runs.some(hasMoved) ? "making safe" : "putting back";
}
