import { existsSync, statSync } from "node:fs";
import { basename, dirname, join, resolve } from "node:path";
import { InputError } from "./input-error.ts";

/** What was captured is never written over, whatever was asked; other files only with `replace`. @throws InputError */
export function checkOutput(output: string, inputs: readonly string[], replace: boolean): void {
  if (inputs.some((input) => resolve(input) === resolve(output))) {
    throw new InputError(`${output} would be written over itself.`, "Name another output.");
  }
  if (!existsSync(dirname(resolve(output)))) {
    throw new InputError(`There is no folder ${dirname(output)}.`, "Make it first, or name another output.");
  }
  if (statSync(output, { throwIfNoEntry: false })?.isDirectory()) {
    throw new InputError(
      `${output} is a folder.`,
      `Name a file in it, for instance ${join(output, "master.fits")}.`,
    );
  }
  if (!replace && existsSync(output)) {
    throw new InputError(`${output} is there already.`, "Name another one, or pass --replace.");
  }
}

/** A file's name as it is when it is not packed. */
export function plainName(path: string): string {
  return basename(path).replace(/\.(gz|fz)$/i, "");
}
