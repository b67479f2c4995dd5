import { type Command, Option } from "commander";
import {
  type CombineMethod,
  type CombineResult,
  combineFiles,
  combineMethods,
} from "../files/combine-files.ts";
import { withFiles } from "./file-trouble.ts";
import { CommandError, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface CombineOptions {
  readonly output: string;
  readonly method: string;
  readonly dark?: string;
  readonly replace?: boolean;
}

const nothingWritten = "Nothing was written.";

/** `evenfield combine`: a master frame from FITS files. @throws CommandError */
export function combine(files: readonly string[], options: CombineOptions, host: CommandHost): Outcome {
  const method = checkMethod(options.method);
  const progress = progressWithTimeLeft(host, "combining");
  const result = withFiles(nothingWritten, () => {
    try {
      return combineFiles(
        {
          files,
          output: options.output,
          method,
          ...(options.dark === undefined ? {} : { darkFile: options.dark }),
          replace: options.replace === true,
          writtenUtcMs: host.clock.nowMs(),
        },
        (done, of) => progress.update(Math.floor((100 * done) / of), 100),
      );
    } finally {
      progress.end();
    }
  });
  warn(host, result.warnings);
  return { exitCode: exitCodes.done, result, text: textOf(result) };
}

function checkMethod(method: string): CombineMethod {
  const found = combineMethods.find((one) => one === method);
  if (found) return found;
  const known =
    method === "displaced" ? "The method displaced is not available yet." : `There is no method "${method}".`;
  throw new CommandError(exitCodes.wrongInput, {
    happened: known,
    state: nothingWritten,
    whatToDo: `Use one of: ${combineMethods.join(", ")}.`,
  });
}

const warningsShown = 6;

/** The first few; a thousand files of another gain need not say so a thousand times. */
export function warn(host: CommandHost, warnings: readonly string[]): void {
  for (const warning of warnings.slice(0, warningsShown)) host.stderr(`Note: ${warning}.\n`);
  if (warnings.length > warningsShown)
    host.stderr(`Note: and ${warnings.length - warningsShown} more like these.\n`);
}

function textOf(result: CombineResult): string {
  const noise =
    result.levelAdu === undefined || result.noiseAdu === undefined || result.levelAdu <= 0
      ? ""
      : `, noise ${((100 * result.noiseAdu) / result.levelAdu).toFixed(3)} % of it`;
  return [
    `${result.output}: ${result.method} of ${result.frameCount} frames of ${result.widthPx} x ${result.heightPx} px`,
    `level ${result.levelAdu?.toFixed(1) ?? "unknown"} adu${noise}; ` +
      `${(100 * result.rejectedFraction).toFixed(3)} % of values left out, ${result.maskedPx} pixels masked`,
  ].join("\n");
}

export function registerCombine(program: Command, host: CommandHost = processHost): void {
  program
    .command("combine")
    .description("make a master frame from FITS files")
    .argument("<files...>", "FITS files of one size")
    .requiredOption("-o, --output <master>", "the master frame to write")
    .addOption(
      new Option("--method <method>", `how: ${combineMethods.join(", ")}`).default("clipped", "clipped"),
    )
    .option("--dark <file>", "master dark, taken off the result")
    .option("--replace", "write over a master of that name")
    .option("--json", "print one JSON result")
    .addHelpText("after", "\nExample:\n  evenfield combine flats/*.fits -o flat.fits --dark dark.fits")
    .action((files: string[], options: CombineOptions & { json?: boolean }) =>
      conclude(host, options.json === true, () => combine(files, options, host)),
    );
}
