import type { RigFile } from "../../plans/rig-file.ts";
import { type ConnectRig, connectRigFile } from "../run/checks/connect-rig-file.ts";
import { closeRun } from "../run/ledger/baseline.ts";
import { findUnfinishedRuns, type RunRecords } from "../run/ledger/unfinished-runs.ts";
import { restoreRig } from "../run/machine/restore-rig.ts";
import type { RehearsalStage } from "./rehearsal-stage.ts";

/**
 * A person comes to a rig that is held: has it put back, accepts what can't be, looks at the Sun filter and writes into the rig
 * file that it is there.
 * @returns the rig file as it is then
 * @throws Error if the filter truly is not there: no person would go on
 */
export async function visitRig(stage: RehearsalStage, rigFile: RigFile): Promise<RigFile> {
  const { ledger, runsFolder, world, clock } = stage;
  if (!world.filterFitted) throw new Error("the Sun filter is not on the telescope");
  const records: RunRecords = { ledger, ledgerFile: ledger.file, runsFolders: [runsFolder] };
  const isLeft = () => findUnfinishedRuns(records, rigFile.rig).runs;
  if (isLeft().length > 0)
    await stage.agent((tools) => {
      const connect: ConnectRig = (signal, _found, purpose) =>
        connectRigFile(rigFile, { ...tools, purpose }, signal);
      return restoreRig({ ...tools, rigFile, records, connect });
    });
  for (const run of isLeft()) closeRun(ledger, run, "accepted as it is");
  const confirmed = new Date(clock.nowMs()).toISOString().replace(/:\d\d\.\d\d\dZ$/, "Z");
  return { ...rigFile, sunFilter: { ...rigFile.sunFilter, lastConfirmed: confirmed } };
}
