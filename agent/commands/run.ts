import { join } from "node:path";
import { type Command, Option } from "commander";
import type { Log } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { tcpOpener } from "../../drivers/kit/tcp-link.ts";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import type { Openers } from "../run/checks/connect-rig-file.ts";
import type { AskPerson } from "../run/checks/hand-cover.ts";
import { Ledger } from "../run/ledger/ledger.ts";
import { lockRig, RigBusyError } from "../run/machine/rig-lock.ts";
import { runPlan } from "../run/machine/run-plan.ts";
import { describeRun } from "../run/record/describe-run.ts";
import type { RunRecord, RunReport } from "../run/record/run-record.ts";
import { commandList } from "./command-list.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { CommandError, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { askAtTerminal } from "./person.ts";
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { stderrLog } from "./run-log.ts";
import { stopWordsOfRun } from "./stop-signals.ts";

export interface RunCommandOptions {
  readonly rig: string;
  readonly runs: string;
  readonly ledger: string;
  readonly unattended?: boolean;
}

/** What the command is wired to; tests and the kill campaign give their own. */
export interface RunWiring {
  readonly openers: Openers;
  readonly log: Log;
  readonly random: Random;
  readonly signal: AbortSignal;
  readonly askPerson?: AskPerson;
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
  const line = terminalProgress({ live: host.live, write: (text) => host.stderr(text) });
  const { openers, log, random, signal, askPerson } = wiring;
  const report = await runPlan({
    plan,
    rigFile,
    openers,
    clock: host.clock,
    random,
    log,
    folder,
    ledger,
    signal,
    unattended: options.unattended === true,
    ...(askPerson === undefined ? {} : { askPerson }),
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
  host: CommandHost = processHost,
): void {
  program
    .command("run")
    .description(commandList.run)
    .argument("<plan>", "the plan file")
    .requiredOption("--rig <file>", "the rig file")
    .option("--runs <folder>", "where the run's own folder is made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .option("--unattended", "nobody is there; so it is too when standard input is no terminal")
    .addOption(
      new Option("--log <level>", "what to log on stderr").choices(["debug", "info", "warn"]).default("warn"),
    )
    .option("--json", "print one JSON result")
    .addHelpText("after", "\nExample:\n  evenfield run plans/first-flat.yaml --rig plans/rig-example.yaml")
    .action((plan: string, options: RunCommandOptions & { json?: boolean; log: string }) =>
      conclude(
        host,
        options.json === true,
        (signal) => {
          const attended = process.stdin.isTTY === true && options.unattended !== true;
          const wiring: RunWiring = {
            openers: (server) => tcpOpener(server.indi),
            log: stderrLog(options.log),
            random: new Random(host.clock.nowMs()),
            signal,
            writeOutputs,
            ...(attended ? { askPerson: askAtTerminal } : {}),
          };
          return run(plan, { ...options, unattended: !attended }, wiring, host);
        },
        stopWordsOfRun,
      ),
    );
}
