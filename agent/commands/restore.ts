import { existsSync } from "node:fs";
import type { Command } from "commander";
import { RigNotConnectedError } from "../../drivers/connect.ts";
import { connectRigFile } from "../run/checks/connect-rig-file.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { restoreRig } from "../run/machine/restore-rig.ts";
import { describeLeft } from "../run/record/run-errors.ts";
import type { RecoveredRun } from "../run/restoring/recover.ts";
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
import { rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { takeRig } from "./run.ts";
import { type StopWords, stopWordsOfRun } from "./stop-signals.ts";

export interface RestoreCommandOptions {
  readonly rig: string;
  readonly ledger: string;
  /** Takes the rig as it is now: nothing is put back, and nothing will be. */
  readonly accept?: boolean;
}

const words: StopWords = {
  ...stopWordsOfRun,
  first: "Stopping; what has begun to be put back is put back to its end first.",
  again: "Still putting the rig back; please wait.",
  state: "Nothing was put back.",
};

/** `evenfield restore`: puts back what an unfinished run left changed. @throws CommandError */
export async function restore(
  options: RestoreCommandOptions,
  wiring: RigWiring,
  host: CommandHost,
): Promise<Outcome> {
  const rigFile = rigFromFile(options.rig);
  if (!existsSync(options.ledger)) return nothingToDo(rigFile.rig, `there is no ledger ${options.ledger}`);
  using lock = takeRig(options.ledger, rigFile.rig);
  void lock;
  using ledger = new Ledger(options.ledger);
  const unfinished = ledger.unfinishedRuns(rigFile.rig);
  if (unfinished.length === 0) return nothingToDo(rigFile.rig, "no run of it is unfinished");
  if (options.accept === true) {
    for (const { runId } of unfinished) ledger.closeRun(runId);
    const runs = unfinished.map((row) => row.runId);
    return {
      exitCode: exitCodes.done,
      result: { rig: rigFile.rig, accepted: runs },
      text: `${rigFile.rig}: taken as it is now; what these runs changed will not be put back: ${runs.join(", ")}.`,
    };
  }
  try {
    const tools = { ...wiring, clock: host.clock };
    const connect = (signal: AbortSignal) => connectRigFile(rigFile, tools, signal);
    const recovered = await restoreRig({ ...tools, rigFile, ledger, connect });
    return outcomeOf(rigFile.rig, recovered);
  } catch (error) {
    const notConnected = error instanceof RigNotConnectedError ? error : undefined;
    if (!notConnected && !(wiring.signal.aborted && error === wiring.signal.reason)) throw error;
    throw new CommandError(
      exitCodes.notRestored,
      {
        happened: notConnected?.message ?? "Stopped by the operator before anything was put back.",
        state: `The rig is as ${unfinished.length === 1 ? "the unfinished run" : "the unfinished runs"} left it.`,
        whatToDo: `Close the cover by hand. ${notConnected ? `${notConnected.whatToDo} ` : ""}Then run \`evenfield restore\` again.`,
      },
      { cause: error },
    );
  }
}

function nothingToDo(rig: string, why: string): Outcome {
  return {
    exitCode: exitCodes.done,
    result: { rig, restored: [] },
    text: `${rig}: nothing to restore, ${why}. Nothing was touched.`,
  };
}

function outcomeOf(rig: string, recovered: readonly RecoveredRun[]): Outcome {
  const settings = recovered.flatMap((run) => run.settings);
  const left = settings.filter((setting) => setting.state === "different");
  const kept = settings.filter((setting) => setting.state === "keptSafe");
  const text = [
    left.length === 0
      ? `${rig} is as it was found before ${recovered.map((run) => run.runId).join(", ")}: ${settings.length - kept.length} settings read back.`
      : `${rig} could not be put back in full; ${left.length} of ${settings.length} settings are not as they were found:`,
    ...left.map((setting) => `  ${describeLeft(setting)}`),
    ...kept.map((setting) => `Left otherwise on purpose: ${describeLeft(setting)}`),
    left.length === 0
      ? "The next run may begin."
      : "Put right by hand what is named, then run `evenfield restore` again; with `--accept` the rig is taken as it is.",
  ];
  return {
    exitCode: left.length === 0 ? exitCodes.done : exitCodes.notRestored,
    result: { rig, restored: recovered },
    text: text.join("\n"),
  };
}

export function registerRestore(program: Command, host: CommandHost = hostOfRig()): void {
  addCommand(program, "restore", "evenfield restore --rig plans/rig-example.yaml")
    .requiredOption("--rig <file>", "the rig file")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .option("--accept", "take the rig as it is now instead: nothing is put back")
    .action((options: RestoreCommandOptions & { json?: boolean }) => {
      const work = (signal: AbortSignal) => restore(options, wireRig(host, signal, "warn"), host);
      return conclude(host, options.json === true, work, words);
    });
}
