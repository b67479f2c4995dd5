#!/usr/bin/env bun
import { Command, CommanderError } from "commander";
import packageFile from "../package.json";
import { registerApply } from "./commands/apply.ts";
import { registerCombine } from "./commands/combine.ts";
import { registerFind } from "./commands/find.ts";
import { registerInspect } from "./commands/inspect.ts";
import { exitCodes } from "./commands/outcome.ts";
import { registerProbe } from "./commands/probe.ts";
import { registerRehearse } from "./commands/rehearse.ts";
import { registerRestore } from "./commands/restore.ts";
import { registerRun } from "./commands/run.ts";
import { registerSimulate } from "./commands/simulate.ts";
import { registerSun } from "./commands/sun.ts";
import { writeReport } from "./outputs/write-report.ts";

const program = new Command("evenfield")
  .description("takes, proves and applies flat fields for solar imaging rigs, with nobody there")
  .version(packageFile.version)
  .showHelpAfterError("(evenfield COMMAND --help shows how a command is used)")
  .exitOverride();

registerRun(program, (record, folder) => writeReport(record, { folder }));
registerRehearse(program);
registerProbe(program);
registerFind(program);
registerSun(program);
registerCombine(program);
registerApply(program);
registerInspect(program);
registerRestore(program);
registerSimulate(program);

try {
  await program.parseAsync();
} catch (error) {
  if (!(error instanceof CommanderError)) throw error;
  process.exitCode = error.exitCode === 0 ? exitCodes.done : exitCodes.wrongInput; // help and version are no errors
}
