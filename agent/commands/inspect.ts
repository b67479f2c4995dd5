import type { Command } from "commander";
import { asInputError, InputError } from "../files/input-error.ts";
import { type Inspection, inspectFile, type Measure } from "../files/inspect-file.ts";
import { figureText, worstOf } from "../imaging/proof-figure.ts";
import { type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

interface FailedFile {
  readonly file: string;
  readonly happened: string;
  readonly whatToDo: string;
}

/** `evenfield inspect`: figures and verdict of each file. Goes on past files that cannot be read. */
export function inspect(files: readonly string[], host: CommandHost): Outcome {
  const inspected: Inspection[] = [];
  const failed: FailedFile[] = [];
  const progress = progressWithTimeLeft(host, "inspecting");
  for (const [index, file] of files.entries()) {
    try {
      inspected.push(inspectFile(file));
    } catch (error) {
      const input = asInputError(error, file);
      if (!(input instanceof InputError)) throw error;
      failed.push({ file, happened: input.happened, whatToDo: input.whatToDo });
      progress.say(`Left out: ${input.happened} ${input.whatToDo}`);
    }
    if (files.length > 1) progress.update(index + 1, files.length);
  }
  progress.end();
  const verdict = inspected.length === 0 ? undefined : worstOf(inspected);
  return {
    exitCode:
      failed.length > 0 ? exitCodes.wrongInput : verdict === "bad" ? exitCodes.verdictBad : exitCodes.done,
    result: { verdict, files: inspected, failed },
    text: [
      ...inspected.map(textOf),
      ...failed.map((one) => `${one.file}: ${one.happened} ${one.whatToDo}`),
    ].join("\n\n"),
  };
}

function textOf(one: Inspection): string {
  const frames = one.frameCount > 1 ? `, of ${one.frameCount} frames` : "";
  return [
    `${one.file}: ${one.kind}, ${one.widthPx} x ${one.heightPx} px, ${one.type}${frames}: ${one.verdict}`,
    ...one.measures.map((measure) => `          ${measureText(measure)}`),
    ...one.figures.map((figure) => `  ${figure.verdict.padEnd(6)}  ${figureText(figure)}`),
    ...one.figures
      .filter((figure) => figure.verdict !== "good")
      .map((figure) => `  To do: ${figure.whatToDo}`),
  ].join("\n");
}

/** Four significant digits and the unit. */
function measureText({ name, value, unit }: Measure): string {
  const digits = Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(4)));
  return `${name} ${digits}${unit === "" ? "" : ` ${unit}`}`;
}

export function registerInspect(program: Command, host: CommandHost = processHost): void {
  program
    .command("inspect")
    .description("quality figures and verdict of flats, darks and images")
    .argument("<files...>", "FITS files")
    .option("--json", "print one JSON result")
    .addHelpText("after", "\nExample:\n  evenfield inspect flat.fits sun-0001.fits")
    .action((files: string[], options: { json?: boolean }) =>
      conclude(host, options.json === true, () => inspect(files, host)),
    );
}
