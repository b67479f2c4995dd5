import { type Command, Option } from "commander";
import { given } from "../../drivers/kit/given.ts";
import type { DisplacedResult } from "../files/combine/combine-displaced.ts";
import { combineFiles } from "../files/combine/combine-files.ts";
import type { SeriesKind } from "../files/combine/combine-series.ts";
import { levelText } from "../files/combine/frame-levels.ts";
import {
  type CombineMethod,
  type CombineResult,
  combineMethods,
  type MasterRequest,
} from "../files/combine/open-series.ts";
import { describeVerdict, partText } from "../imaging/proof/proof-figure.ts";
import { Threads } from "../threads/threads.ts";
import { runOnFiles } from "./file-trouble.ts";
import {
  addCommand,
  type CommandHost,
  conclude,
  exitCodes,
  type Outcome,
  processHost,
  wrongInput,
} from "./outcome.ts";
import { stopWords } from "./stop-signals.ts";
import { progressWithTimeLeft } from "./time-left.ts";

export interface CombineOptions {
  readonly output: string;
  /** Left out: `series` of frames that say that they are flats or darks, else `clipped`. */
  readonly method?: string;
  readonly dark?: string;
  readonly disc?: string;
  readonly replace?: boolean;
  readonly kind?: SeriesKind;
  readonly despiteKind?: boolean;
}

const nothingWritten = "Nothing was written.";

/** `evenfield combine`: a master frame from FITS files. @throws CommandError */
export async function combine(
  files: readonly string[],
  options: CombineOptions,
  host: CommandHost,
  signal: AbortSignal,
  startThreads = (say: (why: string) => void): Threads => new Threads(say),
): Promise<Outcome> {
  const threads = startThreads((why) =>
    printWarnings(host, [`all is done on one thread, which is slower: ${why}`]),
  );
  const request = {
    files,
    output: options.output,
    ...given({ darkFile: options.dark }),
    replace: options.replace === true,
    mixedKinds: options.despiteKind === true,
    writtenUtcMs: host.clock.nowMs(),
    threads,
    signal,
  };
  if (options.method === "displaced") return combineBySolving(request, options.disc, host);
  if (options.disc !== undefined)
    throw wrongInput(nothingWritten, "--disc is for the method displaced.", "Leave it out.");
  const method = options.method === undefined ? undefined : checkMethod(options.method);
  const progress = progressWithTimeLeft(host, "combining");
  const result = await runOnFiles(nothingWritten, progress, () =>
    combineFiles({ ...request, ...given({ method, kind: options.kind }) }, (done, of) =>
      progress.update(Math.floor((100 * done) / of), 100),
    ),
  );
  printWarnings(host, result.warnings);
  return { exitCode: exitCodeOf(result), result, text: textOf(result) };
}

async function combineBySolving(
  request: MasterRequest,
  discText: string | undefined,
  host: CommandHost,
): Promise<Outcome> {
  const disc = discText === undefined ? undefined : checkDisc(discText);
  // Loaded only here, for the other methods do without.
  const { combineDisplaced } = await import("../files/combine/combine-displaced.ts");
  const { loadFft } = await import("../imaging/numerics/fft-library.ts");
  const fft = await loadFft();
  const progress = progressWithTimeLeft(host, "solving");
  const result = await runOnFiles(nothingWritten, progress, () =>
    combineDisplaced({ ...request, ...given({ disc }) }, fft, (done) =>
      progress.update(Math.floor(100 * done), 100),
    ),
  );
  printWarnings(host, result.warnings);
  return { exitCode: exitCodeOf(result), result, text: `${textOf(result)}\n${solvedText(result)}` };
}

function solvedText(result: DisplacedResult): string {
  const { frames, anchorsApartSigmas: apart, gradientSigma, verdict, reasons, trusted } = result;
  const used = frames.filter((frame) => frame.dropped === undefined);
  const dropped = frames.filter((frame) => frame.dropped !== undefined);
  const reach = Math.max(...used.map(({ shiftPx }) => Math.hypot(...shiftPx)));
  const lines = [
    `${used.length} frames used, shifted by up to ${reach.toFixed(0)} px` +
      (dropped.length > 0 ? `; left out: ${dropped.map(({ file }) => file).join(", ")}` : ""),
  ];
  if (gradientSigma) {
    const percent = gradientSigma.map((sigma) => (100 * sigma).toFixed(2)).join(" and ");
    lines.push(`its gradient over width and height is known to ${percent} %`);
  }
  if (apart !== undefined && apart > 3) {
    lines.push(
      `the quiet Sun and the frames' brightness tell different gradients, ${apart.toFixed(1)} sigma apart: ` +
        "take another series under steadier sky, or check it against a diffuser flat",
    );
  }
  lines.push(`${describeVerdict(verdict, [trusted])}`, ...reasons.map((reason) => `  ${reason}`));
  return lines.join("\n");
}

function checkDisc(text: string): { x: number; y: number; radiusPx: number } {
  const numbers = text.split(",").map(Number);
  const [x, y, radiusPx] = numbers as [number, number, number];
  if (numbers.length === 3 && numbers.every(Number.isFinite) && radiusPx > 0) return { x, y, radiusPx };
  throw wrongInput(
    nothingWritten,
    `--disc ${text} is no disc.`,
    "Give centre and radius in pixels of the first file, counted from 0: --disc 1030,870,2000.",
  );
}

function checkMethod(method: string): CombineMethod {
  const found = combineMethods.find((one) => one === method);
  if (found) return found;
  throw wrongInput(
    nothingWritten,
    `There is no method "${method}".`,
    `Use one of: ${[...combineMethods, "displaced"].join(", ")}.`,
  );
}

const warningsShown = 6;

/** The first few, each once; a thousand files of another gain need not say so a thousand times. */
export function printWarnings(host: CommandHost, all: readonly string[]): void {
  const warnings = [...new Set(all)];
  for (const warning of warnings.slice(0, warningsShown)) host.stderr(`Note: ${warning}.\n`);
  if (warnings.length > warningsShown)
    host.stderr(`Note: and ${warnings.length - warningsShown} more like these.\n`);
}

function noiseText({ levelAdu, noiseAdu }: CombineResult): string {
  if (levelAdu === undefined || noiseAdu === undefined) return "";
  // Around zero a share says nothing.
  if (levelAdu <= 5 * noiseAdu) return `, noise ${levelText(noiseAdu)} adu`;
  return `, noise ${((100 * noiseAdu) / levelAdu).toFixed(3)} % of it`;
}

function textOf(result: CombineResult): string {
  const byChance =
    result.rejectedByChance === undefined
      ? ""
      : ` (noise alone: up to ${(100 * result.rejectedByChance).toFixed(2)} %)`;
  const refused = result.refusedFrames ? `, ${result.refusedFrames} left out` : "";
  return [
    `${result.output}: ${result.method} of ${result.frameCount} frames of ${result.widthPx} x ${result.heightPx} px${refused}`,
    `level ${result.levelAdu === undefined ? "unknown" : levelText(result.levelAdu)} adu${noiseText(result)}; ` +
      `${(100 * result.rejectedFraction).toFixed(3)} % of values left out${byChance}`,
    `${partText(result.trusted.value)} of the frame is to be trusted, ${result.maskedPx} pixels are masked`,
    ...(result.trusted.verdict === "good" ? [] : [`To do: ${result.trusted.whatToDo}`]),
  ].join("\n");
}

/** A master that hardly holds anything is no use, however well it is made. */
function exitCodeOf({
  trusted,
  verdict = trusted.verdict,
}: CombineResult & Partial<Pick<DisplacedResult, "verdict">>): Outcome["exitCode"] {
  return verdict === "bad" ? exitCodes.verdictBad : exitCodes.done;
}

export function registerCombine(program: Command, host: CommandHost = processHost): void {
  addCommand(
    program,
    "combine",
    "evenfield combine flats/*.fits -o flat.fits --dark dark.fits\n" +
      "  evenfield combine drift/*.fits -o flat.fits --dark dark.fits --method displaced --disc 1030,870,2000",
  )
    .argument("<files...>", "FITS files, FITS cubes and SER sequences of one size")
    .requiredOption("-o, --output <master>", "the master frame to write")
    .option(
      "--method <method>",
      `how: ${combineMethods.join(", ")}, displaced (default: series of flats and darks, else clipped)`,
    )
    .option("--disc <x,y,radius>", "displaced: the Sun's disc in the first file [px, counted from 0]")
    .addOption(
      new Option("--kind <kind>", "what the frames are, where their headers do not say").choices([
        "flat",
        "dark",
        "bias",
      ]),
    )
    .option("--dark <file>", "master dark, taken off the result")
    .option("--replace", "write over a master of that name")
    .option("--despite-kind", "combine frames that call themselves of several kinds")
    .addHelpText(
      "after",
      "\nMethods:\n" +
        "  series     as a run makes its masters, of frames that are flats, darks or biases by their headers or, where\n" +
        "             those say nothing, by what they show: flats are brought to one level, frames with a jump or a cloud's edge left out, values\n" +
        "             beyond 3.2 sigma too, and sigma comes from all pixels of a level. Dead, hot and unsteady pixels\n" +
        "             are masked. A flat is 1 on the mean.\n" +
        "  clipped    mean of the values within 3 sigma of the pixel's median. Sigma is the standard deviation; with\n" +
        "             fewer than 12 frames, where a hit would widen that beyond itself, the median absolute deviation\n" +
        "             times 1.48 to 2.2 by their number, and no less than the noise that all pixels have in common.\n" +
        "             Hits of cosmic rays are left out from 3 frames on if they are bright, small ones from 6 on; of\n" +
        "             good values 0.3 % at most.\n" +
        "  median     the value in the middle; noisier than a mean by a sixth (3 frames) to a quarter (many)\n" +
        "  mean       every value counts\n" +
        "  displaced  a flat solved from 8 or more frames of a moving Sun\n",
    )
    .action((files: string[], options: CombineOptions & { json?: boolean }) =>
      conclude(
        host,
        { command: "combine", json: options.json },
        (signal) => combine(files, options, host, signal),
        {
          ...stopWords,
          state: nothingWritten,
        },
      ),
    );
}
