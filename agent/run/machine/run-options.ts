import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Log } from "../../../drivers/kit/log.ts";
import type { Random } from "../../../drivers/kit/random.ts";
import type { Plan } from "../../../plans/plan-file.ts";
import type { RigFile } from "../../../plans/rig-file.ts";
import type { Progress } from "../../procedures/step.ts";
import type { ConnectRig } from "../checks/connect-rig-file.ts";
import type { RigKeeper } from "../guard/rig-keeper.ts";
import type { Ledger } from "../ledger/ledger.ts";
import type { RunRecord } from "../record/run-record.ts";
import type { StepTable } from "../steps/step-row.ts";

export interface RunOptions {
  readonly plan: Plan;
  readonly rigFile: RigFile;
  readonly connect: ConnectRig;
  readonly table: StepTable;
  readonly clock: Clock;
  readonly random: Random;
  readonly log: Log;
  /** Of this run alone; made if it is not there. */
  readonly folder: string;
  /** Stands in the header of every FITS file of the run. */
  readonly fileNote?: string;
  readonly ledger: Ledger;
  /** Aborting asks for an orderly stop: the step settles, the rig is restored. */
  readonly signal: AbortSignal;
  /** Nobody is there to move what is moved by hand. */
  readonly unattended: boolean;
  progress(now: Progress): void;
  /** Tells whoever watches what cannot wait for the end. */
  warn(text: string): void;
  /** Draws the report and whatever else; gives the files it wrote, below the folder. */
  writeOutputs(record: RunRecord): Promise<readonly string[]>;
  readonly freeDiskMegabytes: () => number;
  /** Who make the rig safe when this process is gone or silent; without any, nothing is uncovered. */
  readonly keepers: readonly RigKeeper[];
}
