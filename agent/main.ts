#!/usr/bin/env bun
import { Command, CommanderError } from "commander";
import packageFile from "../package.json";
import { exitCodes } from "./commands/outcome.ts";

const program = new Command("evenfield")
  .description("takes, proves and applies flat fields for solar imaging rigs, with nobody there")
  .version(packageFile.version)
  .showHelpAfterError("(evenfield COMMAND --help shows how a command is used)")
  .exitOverride();

/** Only the command that is called is loaded: all of them take a third of a second and 70 MB. In the order of the help. */
const commands: Readonly<Record<string, () => Promise<void>>> = {
  run: async () => {
    const { registerRun } = await import("./commands/run.ts");
    registerRun(program, async (record, folder) => {
      const { writeReport } = await import("./outputs/write-report.ts");
      return writeReport(record, { folder });
    });
  },
  rehearse: async () => (await import("./commands/rehearse.ts")).registerRehearse(program),
  probe: async () => (await import("./commands/probe.ts")).registerProbe(program),
  find: async () => (await import("./commands/find.ts")).registerFind(program),
  sun: async () => (await import("./commands/sun.ts")).registerSun(program),
  combine: async () => (await import("./commands/combine.ts")).registerCombine(program),
  apply: async () => (await import("./commands/apply.ts")).registerApply(program),
  inspect: async () => (await import("./commands/inspect.ts")).registerInspect(program),
  match: async () => (await import("./commands/match.ts")).registerMatch(program),
  restore: async () => (await import("./commands/restore.ts")).registerRestore(program),
  simulate: async () => (await import("./commands/simulate.ts")).registerSimulate(program),
};

const called = process.argv[2] ?? "";
const register = Object.hasOwn(commands, called) ? commands[called] : undefined;
if (register) await register();
else for (const each of Object.values(commands)) await each();

try {
  await program.parseAsync();
} catch (error) {
  if (!(error instanceof CommanderError)) throw error;
  process.exitCode = error.exitCode === 0 ? exitCodes.done : exitCodes.wrongInput; // help and version are no errors
}
