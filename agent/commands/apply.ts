import { type Command, Option } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { type AppliedFile, type ApplyResult, applyFlat } from "../files/apply/apply-flat.ts";
import { type Despite, type Despites, despites } from "../files/apply/refusals.ts";
import type { FailedFile } from "../files/input-error.ts";
import { printWarnings } from "./combine.ts";
import { describeFailedFile, runOnFiles } from "./file-trouble.ts";
import { ensureFlatFits } from "./flat-fits.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { stopWords } from "./stop-signals.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface ApplyOptions {
  readonly flat: string;
  readonly dark?: string;
  readonly output: string;
  readonly as?: "float32" | "uint16";
  readonly replace?: boolean;
  readonly despite?: Despites;
}

/**
 * `evenfield apply`: calibrated images. Goes on past files that cannot be used and then ends as a wrong input.
 * @throws CommandError if flat, dark or folder cannot be used
 */
export async function apply(
  files: readonly string[],
  options: ApplyOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const progress = progressWithTimeLeft(host, "dividing by the flat");
  const onFile = (file: AppliedFile | FailedFile, done: number, of: number) => {
    if (!("ended" in file)) progress.say(`Left out: ${describeFailedFile(file)}`);
    if (of > 1) progress.update(done, of);
  };
  const onFrame = (fileIndex: number, done: number, of: number) => {
    if (files.length === 1) progress.update(done, of);
    // Tenths of a file: a long sequence is seen to go on.
    else progress.update(Math.floor(10 * (fileIndex + done / of)) / 10, files.length);
  };
  const request = {
    flatFile: options.flat,
    ...given({ darkFile: options.dark, as: options.as }),
    files,
    outputFolder: options.output,
    replace: options.replace === true,
    ...given({ despite: options.despite }),
    writtenUtcMs: host.clock.nowMs(),
    signal,
  };
  const result = await runOnFiles("Nothing was written.", progress, () =>
    applyFlat(request, onFile, onFrame),
  );
  printWarnings(host, [...new Set(result.applied.flatMap((file) => file.warnings))]);
  return {
    exitCode: result.failed.length > 0 ? exitCodes.wrongInput : exitCodes.done,
    result,
    text: textOf(result, options.output),
  };
}

function textOf({ applied, failed }: ApplyResult, folder: string): string {
  const written = applied.filter((file) => file.ended === "written");
  const before = applied.length - written.length;
  const mended = written.reduce((most, file) => Math.max(most, file.mendedPx), 0);
  return [
    `${written.length} ${written.length === 1 ? "image" : "images"} written to ${folder}`,
    ...(before > 0 ? [`${before} were done before and left alone`] : []),
    ...(mended > 0 ? [`up to ${mended} masked pixels an image were filled from their neighbours`] : []),
    ...failed.map((one) => `left out: ${describeFailedFile(one)}`),
  ].join("\n");
}

const words = {
  ...stopWords,
  state: "Results that are finished are whole; an unfinished sequence goes on from where it came.",
};

/** What of it was given as `--despite-…`. */
export function despitesIn(given: Readonly<Record<string, unknown>>): Despites {
  const names = Object.keys(despites) as Despite[];
  return new Set(names.filter((name) => given[`despite${name[0]!.toUpperCase()}${name.slice(1)}`] === true));
}

export function registerApply(program: Command, host: CommandHost = processHost): void {
  const command = addCommand(
    program,
    "apply",
    "evenfield apply --flat flat.fits --dark dark.fits sun/*.fits sun/*.ser -o calibrated",
  )
    .argument("<files...>", "FITS images, FITS cubes and mono SER sequences of the flat's size")
    .requiredOption("--flat <master>", "master flat")
    .option("--dark <file>", "master dark, taken off first")
    .requiredOption("-o, --output <folder>", "where the results go, under the names of the images")
    .addOption(
      new Option(
        "--as <type>",
        "FITS results of that type; without it FITS becomes float32 and SER stays SER of its depth",
      ).choices(["float32", "uint16"]),
    )
    .option("--replace", "write over results of other flats");
  for (const [name, text] of Object.entries(despites)) command.option(`--despite-${name}`, text);
  command
    .addHelpText(
      "after",
      "\nA sequence grows as NAME.part; started again after a break, it goes on from there.\n" +
        "What was done to a SER file is kept beside it as NAME.ser.json.",
    )
    .action((files: string[], { json, ...rest }: ApplyOptions & { json?: boolean }) => {
      const options = { ...rest, despite: despitesIn({ ...rest }) };
      return conclude(
        host,
        { command: "apply", json },
        async (signal) => {
          await ensureFlatFits(files, options, signal);
          return apply(files, options, host, signal);
        },
        words,
      );
    });
}
