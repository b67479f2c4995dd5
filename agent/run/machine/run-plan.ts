import { type ConnectTools, connectRigFile, type Openers } from "../checks/connect-rig-file.ts";
import { freeDiskMegabytes } from "../checks/free-disk.ts";
import type { AskPerson } from "../checks/hand-cover.ts";
import type { RunReport } from "../record/run-record.ts";
import { stepTable } from "../steps/step-table.ts";
import { carryOut } from "./carry-out.ts";
import type { RunOptions } from "./run-options.ts";

export interface RunPlanOptions extends Omit<RunOptions, "connect" | "table" | "freeDiskMegabytes"> {
  readonly openers: Openers;
  readonly exchanges?: ConnectTools["exchanges"];
  /** Somebody at the terminal who moves what is moved by hand; not with `unattended`. */
  readonly askPerson?: AskPerson;
}

/** The one door to a run, for hardware and for a rehearsal: connects the rig file's devices and carries the plan out. */
export function runPlan(options: RunPlanOptions): Promise<RunReport> {
  const { openers, exchanges, askPerson, ...rest } = options;
  const { clock, random, log, rigFile, folder, unattended } = options;
  const tools = { openers, exchanges, clock, random, log, askPerson: unattended ? undefined : askPerson };
  return carryOut({
    ...rest,
    table: stepTable,
    connect: (signal, found, purpose) => connectRigFile(rigFile, { ...tools, found, purpose }, signal),
    freeDiskMegabytes: () => freeDiskMegabytes(folder),
  });
}
