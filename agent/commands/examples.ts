import { existsSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { dirname, join } from "node:path";
import type { Command } from "commander";
import { findOwnFile } from "../../drivers/kit/place.ts";
import { exampleFiles } from "../../plans/example-files.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";

/** `evenfield examples`: the files that come with the program, which may be inside an executable. @throws CommandError */
export async function writeExamples(folder: string): Promise<Outcome> {
  const kept: string[] = [];
  for (const name of exampleFiles) {
    const file = join(folder, name);
    try {
      mkdirSync(dirname(file), { recursive: true });
      if (existsSync(file)) kept.push(file);
      else writeFileSync(file, readFileSync(findOwnFile(`plans/${name}`)));
    } catch (error) {
      throw couldNotWrite(file, error as Error);
    }
  }
  const written = exampleFiles.length - kept.length;
  const lines = [`${written} of ${exampleFiles.length} files were written to ${folder}.`];
  if (kept.length > 0) lines.push(`There already, and left as they are: ${kept.join(", ")}`);
  return { exitCode: exitCodes.done, result: { folder, written, kept }, text: lines.join("\n") };
}

function couldNotWrite(file: string, error: Error) {
  return wrongInput(
    "The files before it were written.",
    `${file} could not be written (${error.message}).`,
    "Name another folder.",
    error,
  );
}

export function registerExamples(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "examples", "evenfield examples && evenfield rehearse plans/first-flat.yaml")
    .argument("[folder]", "where they are written; what is there already is left alone", "plans")
    .action((folder: string, options: { json?: boolean }) =>
      conclude(host, { command: "examples", json: options.json }, () => writeExamples(folder)),
    );
}
