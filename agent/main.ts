#!/usr/bin/env bun
import { Command, CommanderError } from "commander";
import packageFile from "../package.json";
import { commandList } from "./commands/command-list.ts";
import { keepFreedMemory } from "./commands/keep-freed-memory.ts";
import { exitCodes } from "./run/record/exit-codes.ts";
import type { RunRecord } from "./run/record/run-record.ts";

const program = new Command("evenfield")
  .description("takes, proves and applies flat fields for solar imaging rigs, with nobody there")
  .version(packageFile.version)
  .showHelpAfterError("(evenfield COMMAND --help shows how a command is used)")
  .configureHelp({ subcommandTerm: (command) => command.name() })
  .exitOverride();

async function writeOutputs(record: RunRecord, folder: string): Promise<readonly string[]> {
  const { writeReport } = await import("./outputs/write-report.ts");
  return writeReport(record, { folder });
}

/** Only the command that is called, or asked for help about, is loaded. */
const load: Readonly<Record<keyof typeof commandList, () => Promise<void>>> = {
  init: async () => (await import("./commands/init.ts")).registerInit(program),
  examples: async () => (await import("./commands/examples.ts")).registerExamples(program),
  run: async () => (await import("./commands/run.ts")).registerRun(program, writeOutputs),
  serve: async () => (await import("./commands/serve.ts")).registerServe(program, writeOutputs),
  schedule: async () => (await import("./commands/schedule.ts")).registerSchedule(program),
  notices: async () => (await import("./commands/notices.ts")).registerNotices(program),
  fleet: async () => (await import("./commands/fleet.ts")).registerFleet(program),
  drill: async () => (await import("./commands/drill.ts")).registerDrill(program),
  rehearse: async () => (await import("./commands/rehearse.ts")).registerRehearse(program),
  check: async () => (await import("./commands/check.ts")).registerCheck(program),
  probe: async () => (await import("./commands/probe.ts")).registerProbe(program),
  find: async () => (await import("./commands/find.ts")).registerFind(program),
  sun: async () => (await import("./commands/sun.ts")).registerSun(program),
  combine: async () => (await import("./commands/combine.ts")).registerCombine(program),
  apply: async () => (await import("./commands/apply.ts")).registerApply(program),
  calibrate: async () => (await import("./commands/calibrate.ts")).registerCalibrate(program),
  inspect: async () => (await import("./commands/inspect.ts")).registerInspect(program),
  match: async () => (await import("./commands/match.ts")).registerMatch(program),
  restore: async () => (await import("./commands/restore.ts")).registerRestore(program),
  keep: async () => (await import("./commands/keep.ts")).registerKeep(program),
  simulate: async () => (await import("./commands/simulate.ts")).registerSimulate(program),
};

/** What works on many whole frames and then ends. */
const ofFrames = new Set(["run", "rehearse", "combine", "apply", "calibrate", "inspect", "match"]);

const called = process.argv[process.argv[2] === "help" ? 3 : 2];
if (called !== undefined && ofFrames.has(called) && !process.argv.includes("--help")) await keepFreedMemory();
for (const [name, description] of Object.entries(commandList)) {
  if (name === called) await load[name as keyof typeof commandList]();
  else program.command(name).description(description);
}

try {
  await program.parseAsync();
} catch (error) {
  if (!(error instanceof CommanderError)) throw error;
  const isWrong = error.exitCode !== 0; // help and version are no errors
  if (isWrong && process.argv.includes("--json")) {
    const { envelopeText, usageEnvelope } = await import("./commands/envelope.ts");
    const command = called !== undefined && called in commandList ? called : "";
    process.stdout.write(envelopeText(usageEnvelope(command, error.message.replace(/^error: /, ""))));
  }
  process.exitCode = isWrong ? exitCodes.wrongInput : exitCodes.done;
}
