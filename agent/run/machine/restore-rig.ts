import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { ConnectRig } from "../checks/connect-rig-file.ts";
import { findUnfinishedRuns, type RunRecords, type UnfinishedRun } from "../ledger/unfinished-runs.ts";
import type { SettingRecord } from "../record/run-record.ts";
import { purposeOfRestoring, type RecoveredRun, recoverUnfinishedRuns } from "../restoring/recover.ts";

export interface RestoreRigOptions {
  readonly rigFile: RigFile;
  readonly records: RunRecords;
  /** What is to be put back, oldest first. Default: all that the records call unfinished. */
  readonly runs?: readonly UnfinishedRun[];
  readonly connect: ConnectRig;
  readonly clock: Clock;
  readonly log: Log;
  /** Keeps it from connecting; what has begun to be put back goes on to its end. */
  readonly signal: AbortSignal;
}

/** Connects and puts back what unfinished runs of that rig left; connects nothing when there are none. */
export async function restoreRig(options: RestoreRigOptions): Promise<readonly RecoveredRun[]> {
  const { rigFile, records, connect, clock, log, signal } = options;
  const { runs = findUnfinishedRuns(records, rigFile.rig).runs } = options;
  if (runs.length === 0) return [];
  // What is found connected now is the unfinished run's doing; its own baseline says how it was.
  const connected = await connect(signal, () => {}, purposeOfRestoring(runs));
  let restored: readonly RecoveredRun[];
  try {
    restored = await recoverUnfinishedRuns({ rig: connected.rig, rigFile, records, clock, log }, runs);
  } finally {
    await connected[Symbol.asyncDispose]();
  }
  return restored.map((run) => noteLeftConnected(run, connected.leftConnected()));
}

/** A connection that was put back and then used once more, and could not be ended again. */
function noteLeftConnected(run: RecoveredRun, leftConnected: readonly RoleName[]): RecoveredRun {
  const settings = run.settings.map((record): SettingRecord => {
    const isLeft =
      record.key === connectionKey && record.before === false && leftConnected.includes(record.role);
    if (!isLeft || record.state === "different") return record;
    return { ...record, after: true, state: "different", why: "it could not be disconnected at the end" };
  });
  return { ...run, settings };
}
