import type { Command } from "commander";
import { terminalProgress } from "../outputs/terminal-progress.ts";
import type { RigKeeper } from "../run/guard/rig-keeper.ts";
import { runPlan } from "../run/machine/run-plan.ts";
import { describeRun } from "../run/record/describe-run.ts";
import type { RunRecord, RunReport } from "../run/record/run-record.ts";
import { type KeptRun, keepersOfRun } from "./keepers-of-run.ts";
import { ledgerFileDefault } from "./ledger-place.ts";
import { addCommand, type CommandHost, conclude, hostOfRig, type Outcome } from "./outcome.ts";
import { askBeforeMoving } from "./person-at-rig.ts";
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { type RigWiring, wireRig } from "./rig-wiring.ts";
import { logOption } from "./run-log.ts";
import { asNotBegun, makeFolderForRun, openLedgerForRun, takeRig } from "./run-records.ts";
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
  keepers(of: KeptRun): readonly RigKeeper[];
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
  const { rig } = rigFile;
  if (options.unattended !== true && wiring.askPerson) await askBeforeMoving(wiring.askPerson, wiring.signal);
  using lock = await takeRig(options.ledger, rigFile, { ...wiring, clock: host.clock });
  void lock;
  using ledger = openLedgerForRun(options, rig);
  const named = { utcMs: host.clock.nowMs(), rig, plan: plan.plan };
  const folder = makeFolderForRun(options.runs, named);
  const line = terminalProgress(host);
  const { clock } = host;
  const keepers = wiring.keepers({ ...options, rigFile, folder, clock, log: wiring.log });
  const report = await runPlan({
    ...wiring,
    plan,
    rigFile,
    clock,
    folder,
    ledger,
    keepers,
    unattended: options.unattended === true,
    progress: (now) => line.update(now),
    warn: (text) => line.say(text),
    writeOutputs: (record) => wiring.writeOutputs(record, folder),
  })
    .finally(() => line.end())
    .catch((error: unknown) => {
      throw asNotBegun(error);
    });
  return runOutcome(report);
}

export function runOutcome(report: RunReport): Outcome {
  const { happened, state, whatToDo } = describeRun(report);
  const { ended, verdict, exitCode, leftOnRig, notAsFound, folder, unwritten, failure } = report;
  const how = { ended, verdict, exitCode, leftOnRig, notAsFound, folder, unwritten, failure };
  return {
    exitCode,
    result: { ...how, happened, state, whatToDo },
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
        { command: "run", json: options.json },
        (signal) => {
          const wiring = { ...wireRig(host, signal, options.log), writeOutputs, keepers: keepersOfRun };
          const unattended = options.unattended === true || wiring.askPerson === undefined;
          return run(plan, { ...options, unattended }, wiring, host);
        },
        stopWordsOfRun,
      ),
    );
}
