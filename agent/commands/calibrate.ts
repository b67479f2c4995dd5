import { mkdirSync } from "node:fs";
import { join } from "node:path";
import { type Command, Option } from "commander";
import { writeWholeFile } from "../../drivers/formats/whole-file.ts";
import { given } from "../../drivers/kit/given.ts";
import { type Despites, despites } from "../files/apply/refusals.ts";
import { type CalibrateResult, calibrateFolder } from "../files/calibrate/calibrate-folder.ts";
import { tableCsv, tableRow } from "../files/calibrate/calibration-table.ts";
import type { Part } from "../files/calibrate/share-work.ts";
import { InputError } from "../files/input-error.ts";
import { inspectFile } from "../files/inspect/inspect-file.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import { calibrationPage } from "../outputs/calibration-page.ts";
import { Threads } from "../threads/threads.ts";
import { despitesIn } from "./apply.ts";
import { printWarnings } from "./combine.ts";
import { describeFailedFile, runOnFiles } from "./file-trouble.ts";
import { ensureFlatFits } from "./flat-fits.ts";
import {
  addCommand,
  CommandError,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { stopWords } from "./stop-signals.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface CalibrateOptions {
  readonly output: string;
  readonly dryRun?: boolean;
  readonly part?: string;
  readonly as?: "float32" | "uint16";
  readonly despite: Despites;
}

const nothingLost = "What was finished is whole; started again it goes on from there.";

/** `evenfield calibrate`: sorts a folder, makes its masters, divides its images, and tells of all files. @throws CommandError */
export async function calibrateFiles(
  folder: string,
  options: CalibrateOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const part = options.part === undefined ? undefined : readPart(options.part);
  const fft = await loadFft();
  const threads = new Threads((why) =>
    printWarnings(host, [`all is done on one thread, which is slower: ${why}`]),
  );
  const looking = progressWithTimeLeft(host, "looking at files");
  const dividing = progressWithTimeLeft(host, "dividing images");
  const progress = {
    end() {
      looking.end();
      dividing.end();
    },
  };
  const { output, dryRun = false, as, despite } = options;
  const result = await runOnFiles(nothingLost, progress, () =>
    calibrateFolder(
      {
        ...{ folder, outputFolder: output, dryRun, despite, threads, signal },
        ...given({ part, as }),
        writtenUtcMs: host.clock.nowMs(),
        processName: String(process.pid),
      },
      {
        onProgress: (what, done, of) => (what === "looking at files" ? looking : dividing).update(done, of),
        judge: (file) => inspectFile(file, fft),
        checkFit: (images, flat, dark) => checkFit(images, { flat, ...given({ dark }), despite }, signal),
      },
    ),
  );
  printWarnings(host, result.warnings);
  const written = dryRun ? [] : writePapers(folder, output, part, result);
  return {
    exitCode: exitCodeOf(result),
    result: {
      ...given({ part }),
      dryRun,
      files: result.files.map(tableRow),
      masters: result.masters,
      failed: result.failed,
      written,
    },
    text: textOf(result, { dryRun, written }),
  };
}

/** @throws InputError where `apply` would refuse */
async function checkFit(
  images: readonly string[],
  masters: Parameters<typeof ensureFlatFits>[1],
  signal: AbortSignal,
): Promise<void> {
  try {
    await ensureFlatFits(images, masters, signal);
  } catch (error) {
    if (!(error instanceof CommandError)) throw error;
    throw new InputError(error.told.happened, error.told.whatToDo, { cause: error });
  }
}

function readPart(text: string): Part {
  const [number, of] = text.split("/").map(Number);
  const isPart =
    Number.isInteger(number) &&
    Number.isInteger(of) &&
    number! >= 1 &&
    number! <= of! &&
    text.split("/").length === 2;
  if (isPart) return { number: number!, of: of! };
  throw wrongInput(
    "Nothing was written.",
    `--part ${text} is no part.`,
    "Say which of how many, for instance --part 2/8.",
  );
}

/** Page and tables; they are of what was seen last and replace those of before. */
function writePapers(
  folder: string,
  output: string,
  part: Part | undefined,
  result: CalibrateResult,
): string[] {
  mkdirSync(output, { recursive: true });
  const name = part === undefined ? "files" : `files-part-${part.number}-of-${part.of}`;
  const table = { files: result.files.map(tableRow), masters: result.masters, failed: result.failed };
  const papers = {
    [`${name}.html`]: calibrationPage(folder, result),
    [`${name}.csv`]: tableCsv(result),
    [`${name}.json`]: `${JSON.stringify(table, null, 1)}\n`,
  };
  return Object.entries(papers).map(([file, text]) => {
    const path = join(output, file);
    writeWholeFile(path, new TextEncoder().encode(text), { replace: true });
    return path;
  });
}

function exitCodeOf({ files, masters, failed }: CalibrateResult): Outcome["exitCode"] {
  if (failed.length > 0 || files.some(({ ended }) => ended === "left out")) return exitCodes.wrongInput;
  return masters.some(({ verdict }) => verdict === "bad") ? exitCodes.verdictBad : exitCodes.done;
}

function textOf(
  { files, masters, failed }: CalibrateResult,
  { dryRun, written }: { readonly dryRun: boolean; readonly written: readonly string[] },
): string {
  const count = (ended: string) => files.filter((file) => file.ended === ended).length;
  const images = files.filter(({ usedFor }) => usedFor === "an image");
  const leftOut = files.filter(({ ended }) => ended === "left out");
  const plural = (number: number, what: string) => `${number} ${what}${number === 1 ? "" : "s"}`;
  return [
    dryRun
      ? `${plural(images.length, "image")} of ${plural(files.length, "file")} would be divided; nothing was written`
      : `${plural(count("written"), "image")} written` +
        (count("done before") > 0 ? `, ${count("done before")} were done before and left alone` : "") +
        (count("in another part") > 0 ? `, ${count("in another part")} are of other parts` : ""),
    ...(dryRun ? planLines(files) : []),
    ...masters.map(({ name, ended, verdict, why }) =>
      [`  ${name}: ${ended}`, verdict, ended === "failed" ? why : undefined].filter(Boolean).join(", "),
    ),
    ...reasonLines(leftOut.map(({ facts, why }) => ({ file: facts.name, why }))),
    ...failed.map((one) => `left out: ${describeFailedFile(one)}`),
    ...written.map((path) => `  ${path}`),
  ].join("\n");
}

/** What would be made of what, one line for all files of one use. */
function planLines(files: CalibrateResult["files"]): string[] {
  const uses = new Map<string, number>();
  for (const { usedFor, flat, dark, why, ended } of files) {
    if (ended === "left out") continue;
    const use = usedFor === "an image" ? `image: flat ${flat}, dark ${dark ?? "none"} (${why})` : usedFor;
    uses.set(use, (uses.get(use) ?? 0) + 1);
  }
  return [...uses].map(([use, number]) => `  ${number} x ${use}`);
}

const namesShown = 3;

function reasonLines(leftOut: readonly { readonly file: string; readonly why: string }[]): string[] {
  const byReason = Map.groupBy(leftOut, ({ why }) => why);
  return [...byReason].map(([why, files]) => {
    const names = files.slice(0, namesShown).map(({ file }) => file);
    const more = files.length > names.length ? ` and ${files.length - names.length} more` : "";
    return `left out: ${names.join(", ")}${more}: ${why}`;
  });
}

export function registerCalibrate(program: Command, host: CommandHost = processHost): void {
  const command = addCommand(program, "calibrate", "evenfield calibrate night -o calibrated --dry-run")
    .argument("<folder>", "FITS and SER files of all kinds, in folders below it too")
    .requiredOption("-o, --output <folder>", "where masters, images, the page and the tables go")
    .option("--dry-run", "say what would be done, and do nothing")
    .option("--part <k/n>", "only this of so many fixed shares of the images, for work on several machines")
    .addOption(
      new Option("--as <type>", "FITS results of that type; see `evenfield apply`").choices([
        "float32",
        "uint16",
      ]),
    );
  for (const [name, text] of Object.entries(despites)) command.option(`--despite-${name}`, text);
  command
    .addHelpText(
      "after",
      "\nKinds come from IMAGETYP, else from names (flat, dark, bias, sun, image) that the picture does not contradict.\n" +
        "Darks are taken of the image's own setting; with a bias one of another exposure is scaled. Nothing is written over;\n" +
        "started again it goes on. When all parts are done, a run without --part writes the page and tables of the whole.",
    )
    .action((folder: string, { json, ...rest }: CalibrateOptions & { json?: boolean }) => {
      const options = { ...rest, despite: despitesIn({ ...rest }) };
      return conclude(
        host,
        { command: "calibrate", json },
        (signal) => calibrateFiles(folder, options, host, signal),
        {
          ...stopWords,
          state: nothingLost,
        },
      );
    });
}
