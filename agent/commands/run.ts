import { join } from "node:path";
import type { Command } from "commander";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { lockRig, RigBusyError } from "../run/machine/rig-lock.ts";
import { runPlan } from "../run/machine/run-plan.ts";
import { describeRun } from "../run/record/describe-run.ts";
import type { RunRecord, RunReport } from "../run/record/run-record.ts";
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
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { logOption } from "./run-log.ts";
import { stopWordsOfRun } from "./stop-signals.ts";

export interface RunCommandOptions {
  readonly rig: string;
  readonly runs: string;
  readonly ledger: string;
  readonly unattended?: boolean;
}

export interface RunWiring extends RigWiring {
  /** Draws the report; gives the files it wrote, below the run's folder. */
  writeOutputs(record: RunRecord, folder: string): Promise<readonly string[]>;
}

/** `evenfield run`: carries a plan out on a rig. @throws CommandError when it could not even begin */
export async function run(
  planPath: string,
  options: RunCommandOptions,
  wiring: RunWiring,
  host: CommandHost,
): Promise<Outcome> {
  const plan = planFromFile(planPath);
  const rigFile = rigFromFile(options.rig);
  using lock = takeRig(options.ledger, rigFile.rig);
  void lock;
  using ledger = new Ledger(options.ledger);
  const folder = join(options.runs, runFolderName(host.clock.nowMs(), plan.plan));
  const line = terminalProgress(host);
  const report = await runPlan({
    ...wiring,
    plan,
    rigFile,
    clock: host.clock,
    folder,
    ledger,
    unattended: options.unattended === true,
    progress: (now) => line.update(now),
    writeOutputs: (record) => wiring.writeOutputs(record, folder),
  }).finally(() => line.end());
  return runOutcome(report);
}

/** @throws CommandError when another process has the rig */
export function takeRig(ledgerFile: string, rig: string): Disposable {
  try {
    return lockRig(ledgerFile, rig);
  } catch (error) {
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

/** `2026-06-20T101500Z-first-flat`: sorts by time, and no file system minds it. */
export function runFolderName(utcMs: number, plan: string): string {
  return `${new Date(utcMs).toISOString().slice(0, 19).replaceAll(":", "")}Z-${plan}`;
}

export function runOutcome(report: RunReport): Outcome {
  const { happened, state, whatToDo } = describeRun(report);
  const { ended, verdict, exitCode, leftOnRig, notAsFound, folder, failure } = report;
  return {
    exitCode,
    result: { ended, verdict, exitCode, leftOnRig, notAsFound, folder, failure, happened, state, whatToDo },
    text: [happened, state, whatToDo].join("\n"),
  };
}

export function registerRun(
  program: Command,
  writeOutputs: RunWiring["writeOutputs"],
  host: CommandHost = hostOfRig(),
): void {
  addCommand(program, "run", "evenfield run plans/first-flat.yaml --rig plans/rig-example.yaml")
    .argument("<plan>", "the plan file")
    .requiredOption("--rig <file>", "the rig file")
    .option("--runs <folder>", "where the run's own folder is made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .option("--unattended", "nobody is there; so it is too when standard input is no terminal")
    .addOption(logOption())
    .action((plan: string, options: RunCommandOptions & { json?: boolean; log: string }) =>
      conclude(
        host,
        options.json === true,
        (signal) => {
          const wiring = { ...wireRig(host, signal, options.log), writeOutputs };
          const unattended = options.unattended === true || wiring.askPerson === undefined;
          return run(plan, { ...options, unattended }, wiring, host);
        },
        stopWordsOfRun,
      ),
    );
}
