import type { Command } from "commander";
import { RigNotConnectedError } from "../../drivers/connect.ts";
import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { RigFile } from "../../plans/rig-file.ts";
import { type ConnectRig, connectRigFile } from "../run/checks/connect-rig-file.ts";
import { closeRun } from "../run/ledger/baseline.ts";
import { LockFolderError } from "../run/machine/host-lock.ts";
import { restoreRig } from "../run/machine/restore-rig.ts";
import { RigBusyError } from "../run/machine/rig-lock.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  hostOfRig,
  type Outcome,
} from "./outcome.ts";
import { describeRestored } from "./restored-words.ts";
import { rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { openRecords, takeRig } from "./run-records.ts";
import { chooseRunsToRestore, type RunsToRestore } from "./runs-to-restore.ts";
import { type StopWords, stopWordsOfRun } from "./stop-signals.ts";

export interface RestoreCommandOptions {
  readonly rig: string;
  readonly ledger: string;
  /** Nobody named it: that it is not there means that no run was made with it. */
  readonly ledgerByDefault?: boolean;
  /** The folder in which runs lay their own. */
  readonly runs: string;
  /** One run's folder, whose baseline is put back. */
  readonly from?: string;
  /** Takes the rig as it is now: nothing is put back, and nothing will be. */
  readonly accept?: boolean;
}

const words: StopWords = {
  ...stopWordsOfRun,
  first: "Stopping; what has begun to be put back is put back to its end first.",
  again: "Still putting the rig back; please wait.",
  state: "Nothing was put back.",
};

/**
 * `evenfield restore`: puts back what an unfinished run left changed, by the ledger or by what the run's own folder
 * holds, and needs to write to neither. @throws CommandError
 */
export async function restore(
  options: RestoreCommandOptions,
  wiring: RigWiring,
  host: CommandHost,
): Promise<Outcome> {
  const rigFile = rigFromFile(options.rig);
  using lock = await takeRigIfItCan(options.ledger, rigFile, wiring, host);
  void lock;
  using opened = openRecords(options);
  const chosen = chooseRunsToRestore(options, rigFile.rig, opened);
  if (chosen.runs.length === 0) return nothingToDo(rigFile.rig, chosen.notes);
  // Asks nobody first: a telescope that stands open must not wait for an answer.
  return options.accept === true
    ? acceptRig(rigFile.rig, chosen)
    : await restoreRuns(rigFile, chosen, wiring, host);
}

/** A keeper that makes the rig safe is done by then [s]. */
const busySecondsMax = 300;

/**
 * A lock that can't be made keeps nobody from putting a rig back; one that another process holds does, until that one
 * has ended: after a run that was killed, its keeper has the rig first.
 */
async function takeRigIfItCan(
  ledger: string,
  rigFile: RigFile,
  wiring: RigWiring,
  host: CommandHost,
): Promise<Disposable> {
  const { clock } = host;
  const seconds = startStopwatch(clock);
  for (let tries = 1; ; tries++) {
    try {
      return await takeRig(ledger, rigFile, { ...wiring, clock });
    } catch (error) {
      const { cause } = error as Error;
      if (cause instanceof LockFolderError) {
        host.stderr(`Without a lock, because ${cause.message}. See that nothing else drives the rig.\n`);
        return { [Symbol.dispose]() {} };
      }
      if (!(cause instanceof RigBusyError) || wiring.signal.aborted || seconds() >= busySecondsMax)
        throw error;
      if (tries === 1)
        host.stderr(
          `Waiting for up to ${busySecondsMax / 60} minutes, because ${cause.message}. The keeper of a run that ended without a word makes the rig safe first. Ctrl-C ends the wait.\n`,
        );
    }
    await clock.sleep(1, wiring.signal).catch(() => {});
  }
}

function nothingToDo(rig: string, notes: readonly string[]): Outcome {
  return {
    exitCode: exitCodes.done,
    result: { rig, restored: [], notes },
    text: `${rig}: nothing to restore, ${notes.join("; ")}. Nothing was touched.`,
  };
}

/** @throws CommandError when it can't be written down */
function acceptRig(rig: string, { runs, records }: RunsToRestore): Outcome {
  const ids = runs.map(({ runId }) => runId);
  const unwritten = runs.flatMap((run) => closeRun(records.ledger, run, "accepted as it is"));
  if (unwritten.length > 0)
    throw new CommandError(exitCodes.notRestored, {
      happened: `That the rig is accepted could not be written down: ${unwritten.join("; ")}.`,
      state: "Nothing on the rig was touched.",
      whatToDo: "Make room on the disk, or let this user write there; then give the command again.",
    });
  return {
    exitCode: exitCodes.done,
    result: { rig, accepted: ids },
    text: `${rig}: taken as it is now; what these runs changed will not be put back: ${ids.join(", ")}.`,
  };
}

async function restoreRuns(
  rigFile: RigFile,
  { runs, records, notes }: RunsToRestore,
  wiring: RigWiring,
  host: CommandHost,
): Promise<Outcome> {
  try {
    const tools = { ...wiring, clock: host.clock };
    const connect: ConnectRig = (signal, _found, purpose) =>
      connectRigFile(rigFile, { ...tools, purpose }, signal);
    const restored = await restoreRig({ ...tools, rigFile, records, runs, connect });
    return describeRestored(rigFile.rig, restored, notes);
  } catch (error) {
    const notConnected = error instanceof RigNotConnectedError ? error : undefined;
    if (!notConnected && !(wiring.signal.aborted && error === wiring.signal.reason)) throw error;
    throw new CommandError(
      exitCodes.notRestored,
      {
        happened: notConnected?.message ?? "Stopped by the operator before anything was put back.",
        state: `The rig is as ${runs.length === 1 ? "the unfinished run" : "the unfinished runs"} left it.`,
        whatToDo: `Close the cover by hand. ${notConnected ? `${notConnected.whatToDo} ` : ""}Then run \`evenfield restore\` again.`,
      },
      { cause: error },
    );
  }
}

export function registerRestore(program: Command, host: CommandHost = hostOfRig()): void {
  addCommand(program, "restore", "evenfield restore --rig plans/rig-example.yaml")
    .requiredOption("--rig <file>", "the rig file")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .option("--runs <folder>", "where runs made their own folders", "runs")
    .option("--from <folder>", "the folder of the run to be put back, where the ledger does not know it")
    .option("--accept", "take the rig as it is now instead: nothing is put back")
    .action((options: RestoreCommandOptions & { json?: boolean }, command: Command) => {
      const ledgerByDefault = command.getOptionValueSource("ledger") === "default";
      const work = (signal: AbortSignal) =>
        restore({ ...options, ledgerByDefault }, wireRig(host, signal, "warn"), host);
      return conclude(host, { command: "restore", json: options.json }, work, words);
    });
}
