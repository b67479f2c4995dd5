import { existsSync } from "node:fs";
import type { RigFile } from "../../plans/rig-file.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { LedgerError } from "../run/ledger/ledger-error.ts";
import { makeRunFolder } from "../run/ledger/run-folders.ts";
import { findUnfinishedRuns, type RunRecords } from "../run/ledger/unfinished-runs.ts";
import { LockFolderError } from "../run/machine/host-lock.ts";
import { lockRig, RigBusyError, type RigLockTools } from "../run/machine/rig-lock.ts";
import { isDiskFailure } from "../run/record/disk-trouble.ts";
import { failureRecord } from "../run/record/failure-record.ts";
import { CommandError, exitCodes, wrongInput } from "./outcome.ts";

const untouched = "Nothing on the rig was touched.";

/** @throws CommandError when another process has the rig or one of its devices, or no lock can be made */
export async function takeRig(
  ledgerFile: string,
  rigFile: RigFile,
  tools: RigLockTools,
): Promise<Disposable> {
  try {
    return await lockRig(ledgerFile, rigFile, tools);
  } catch (error) {
    if (error instanceof LockFolderError)
      throw wrongInput(untouched, `${error.message}.`, error.whatToDo, error);
    if (!(error instanceof RigBusyError)) throw error;
    throw new CommandError(
      exitCodes.safety,
      {
        happened: `Refused: ${error.message}.`,
        state: "The rig is in the hands of that process; this one touched nothing.",
        whatToDo: error.whatToDo,
      },
      { cause: error },
    );
  }
}

/** @throws CommandError when it can't be used; with exit code 6 when a run folder tells of a run that is not put back */
export function openLedgerForRun({ ledger, runs }: RecordPlaces, rig: string): Ledger {
  try {
    return new Ledger(ledger);
  } catch (error) {
    if (!(error instanceof LedgerError)) throw error;
    const unfinished = findUnfinishedRuns({ ledgerFile: ledger, runsFolders: [runs] }, rig).runs;
    const told = { happened: `${sentence(error.message)}.`, state: untouched, whatToDo: error.whatToDo };
    if (unfinished.length === 0) throw new CommandError(exitCodes.wrongInput, told, { cause: error });
    const left = unfinished.map(({ folder }) => folder).join(", ");
    const state = `The rig is not as it was found: by the run folders it was not put back after ${left}.`;
    const whatToDo = `Run \`evenfield restore --rig RIG\` first, which needs no ledger. ${error.whatToDo}`;
    throw new CommandError(exitCodes.notRestored, { ...told, state, whatToDo }, { cause: error });
  }
}

/** @throws CommandError when it can't be made */
export function makeFolderForRun(runs: string, run: Parameters<typeof makeRunFolder>[1]): string {
  try {
    return makeRunFolder(runs, run);
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (typeof code !== "string") throw error;
    throw wrongInput(
      untouched,
      `No folder for the run can be made in ${runs}: ${(error as Error).message}.`,
      "Name a folder that this user may write to with `--runs`, on a disk with room.",
      error,
    );
  }
}

/** A run that could not even be written down, as the person's own matter; anything else as it is. */
export function asNotBegun(error: unknown): unknown {
  const failure = failureRecord(error);
  return isDiskFailure(failure)
    ? wrongInput(untouched, `${sentence(failure.message)}.`, failure.whatToDo, error)
    : error;
}

export interface RecordPlaces {
  readonly ledger: string;
  /** The folder in which runs lay their own. */
  readonly runs: string;
}

export interface OpenRecords extends Disposable {
  readonly records: RunRecords;
  /** Why the ledger is not used, or not wholly, if so. */
  readonly trouble: LedgerError | undefined;
}

/** What there is to restore from; a ledger that can't be used leaves the run folders. Makes nothing that is not there. */
export function openRecords({ ledger, runs }: RecordPlaces): OpenRecords {
  const places = { ledgerFile: ledger, runsFolders: [runs] };
  const none = { [Symbol.dispose]() {} };
  if (!existsSync(ledger)) return { ...none, records: places, trouble: undefined };
  try {
    const opened = new Ledger(ledger, { acceptDamage: true });
    const trouble =
      opened.damage === undefined ? undefined : new LedgerError(ledger, "damaged", opened.damage);
    return {
      records: { ...places, ledger: opened },
      trouble,
      [Symbol.dispose]: () => opened[Symbol.dispose](),
    };
  } catch (error) {
    if (!(error instanceof LedgerError)) throw error;
    return { ...none, records: places, trouble: error };
  }
}

const sentence = (text: string) => text.charAt(0).toUpperCase() + text.slice(1);
