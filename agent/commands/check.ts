import type { Command } from "commander";
import { ledgerFileDefault } from "./ledger-place.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { checkPlanOnRig, describeChecks, exitCodeOfChecks } from "./plan-checks.ts";
import { planFromFile, rigFromFile } from "./rig-from-file.ts";
import { readUtcTime } from "./utc-time.ts";

export interface CheckOptions {
  readonly rig: string;
  readonly runs: string;
  readonly ledger: string;
  readonly at?: string;
  readonly unattended?: boolean;
}

/**
 * `evenfield check`: what a run of that plan would be refused for, as far as it is known without the devices; ends with the
 * code that the run would end with.
 * @throws CommandError if a file can't be used
 */
export function check(planPath: string, options: CheckOptions, host: CommandHost): Outcome {
  const plan = planFromFile(planPath);
  const rigFile = rigFromFile(options.rig);
  const { at, unattended = false } = options;
  const nowUtcMs = at === undefined ? host.clock.nowMs() : readUtcTime(at, "Nothing was checked.");
  const checks = checkPlanOnRig({ plan, rigFile, nowUtcMs, unattended }, options);
  const exitCode = exitCodeOfChecks(checks);
  const isReady = exitCode === exitCodes.done;
  const utc = new Date(nowUtcMs).toISOString();
  const verdict = isReady
    ? "nothing speaks against it, as far as can be known without its devices"
    : "a run would be refused";
  const next = isReady
    ? "`evenfield probe --rig RIG` asks the devices too; `evenfield rehearse PLAN --rig RIG` plays it without them."
    : "Nothing was touched.";
  return {
    exitCode,
    result: { plan: plan.plan, rig: rigFile.rig, utc, ready: isReady, checks },
    text: [
      `${plan.plan} on ${rigFile.rig} at ${utc.slice(0, 16).replace("T", " ")} UTC: ${verdict}.`,
      ...describeChecks(checks).map((line) => `  ${line}`),
      next,
    ].join("\n"),
  };
}

export function registerCheck(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "check", "evenfield check plans/first-flat.yaml --rig plans/rig-example.yaml")
    .argument("<plan>", "the plan file")
    .requiredOption("--rig <file>", "the rig file")
    .option("--at <TIME>", "of the run's beginning, instead of now; UTC unless it says otherwise")
    .option("--unattended", "nobody will be there")
    .option("--runs <folder>", "where the run's own folder would be made", "runs")
    .option("--ledger <file>", "the ledger of runs and baselines", ledgerFileDefault())
    .action((plan: string, options: CheckOptions & { json?: boolean }) =>
      conclude(host, { command: "check", json: options.json }, () => check(plan, options, host)),
    );
}
