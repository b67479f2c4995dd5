import type { RigFile } from "../../plans/rig-file.ts";
import type { ConnectTools } from "../run/checks/connect-rig-file.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";
import type { Ledger } from "../run/ledger/ledger.ts";
import type { RunRecord, RunReport } from "../run/record/run-record.ts";
import type { Wishes } from "./deeds/wishes.ts";
import type { LoadedSchedule } from "./schedule/loaded-schedule.ts";
import type { ScheduleSite } from "./schedule/moments.ts";
import type { ServiceLook, ServiceStatus } from "./service-status.ts";

/** What a person may change while the service is on. */
export interface ServiceInput {
  readonly loaded: LoadedSchedule;
  readonly rigFile: RigFile;
  readonly site: ScheduleSite;
}

export interface ServiceOptions
  extends Pick<ConnectTools, "openers" | "exchanges" | "clock" | "random" | "log"> {
  /** @throws with a sentence for a person when a file can't be used */
  readInput(): ServiceInput;
  /** Another text when one of the files is another; cheap. */
  inputStamp(): string;
  readonly ledger: Ledger;
  /** In which each run makes its own folder. */
  readonly runsFolder: string;
  readonly lockFolder?: string | undefined;
  /** Aborting ends the service in good order: a run settles and puts the rig back. */
  readonly signal: AbortSignal;
  keepers(rigFile: RigFile, folder: string): readonly RigKeeper[];
  writeOutputs(record: RunRecord, folder: string): Promise<readonly string[]>;
  /** Default: of the disk that the runs are on. */
  readonly freeDiskMegabytes?: () => number;
  /** What persons want of it; left out, nobody can ask. */
  readonly wishes?: Wishes | undefined;
  /** Called at every change of what it does, and why. */
  onStatus(status: ServiceStatus): void;
  /** Called once the files are read. @param look reads the ledger at each call; throws LedgerError */
  onReady?(look: () => ServiceLook): void;
  /** Called when an entry is not begun at an occasion, and will not be. */
  onLeftOut?(entry: string, because: string): void;
  onRunEnded?(entry: string, report: RunReport): void;
}
