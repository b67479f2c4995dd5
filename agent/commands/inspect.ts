import type { Command } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { Random } from "../../drivers/kit/random.ts";
import { hearStop } from "../files/hear-stop.ts";
import { asFailedFile, type FailedFile } from "../files/input-error.ts";
import { type Inspection, type InspectOptions, inspectFile } from "../files/inspect/inspect-file.ts";
import { describePairs, type FlatPair, pairFlats } from "../files/inspect/inspect-pairs.ts";
import { sensorLines, sensorOf } from "../files/inspect/inspect-sensor.ts";
import type { PlainFigure } from "../files/inspect/inspected-picture.ts";
import { loadFft } from "../imaging/numerics/fft-library.ts";
import {
  describeVerdict,
  figureText,
  type ProofFigure,
  worstVerdict,
} from "../imaging/proof/proof-figure.ts";
import { dustLines } from "../outputs/proof-rows.ts";
import { describeFailedFile, runOnFiles } from "./file-trouble.ts";
import type { ShowOptions } from "./inspection-files.ts";
import { numberOption } from "./number-option.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

/**
 * `evenfield inspect`: figures and verdict of each file, and of the sensor when two flats and two darks are among them. Goes on past files
 * that cannot be read.
 */
export async function inspect(
  files: readonly string[],
  options: InspectOptions & ShowOptions,
  host: CommandHost,
  signal: AbortSignal,
): Promise<Outcome> {
  const fft = await loadFft();
  const inspected: Inspection[] = [];
  const failed: FailedFile[] = [];
  const progress = progressWithTimeLeft(host, "inspecting");
  try {
    for (const [index, file] of files.entries()) {
      await hearStop(signal);
      try {
        inspected.push(inspectFile(file, fft, options));
      } catch (error) {
        failed.push(asFailedFile(error, file));
        progress.say(`Left out: ${describeFailedFile(failed.at(-1)!)}`);
      }
      if (files.length > 1) progress.update(index + 1, files.length);
    }
  } finally {
    progress.end();
  }
  const sensor = sensorOf(inspected);
  const pairs = pairFlats(inspected);
  const ofPairs = pairs.flatMap(({ figures }) => figures);
  const verdict = inspected.length === 0 ? undefined : worstVerdict([...inspected, ...ofPairs]);
  const written = await writeShown(inspected, options);
  return {
    exitCode:
      failed.length > 0 ? exitCodes.wrongInput : verdict === "bad" ? exitCodes.verdictBad : exitCodes.done,
    result: {
      verdict,
      files: inspected.map((one) => withoutWhatPairsTell(one, pairs)),
      ...(pairs.length > 0 ? { pairs } : {}),
      ...(sensor ? { sensor } : {}),
      failed,
      written,
    },
    text: [
      ...inspected.map((one) => textOf(withoutWhatPairsTell(one, pairs))),
      ...(pairs.length > 0 ? [describePairs(pairs, figureLine).join("\n")] : []),
      ...(sensor ? [sensorLines(sensor).join("\n")] : []),
      ...failed.map((one) => `left out: ${describeFailedFile(one)}`),
      ...(written.length > 0 ? [`written: ${written.join(", ")}`] : []),
    ].join("\n\n"),
  };
}

/** Page and picture. What draws them is loaded only here, for it takes most of a second. */
async function writeShown(inspected: readonly Inspection[], options: ShowOptions): Promise<string[]> {
  if (options.page === undefined && options.picture === undefined) return [];
  const { writeInspection } = await import("./inspection-files.ts");
  return runOnFiles("Nothing was written.", { end() {} }, async () => writeInspection(inspected, options));
}

function textOf(one: Inspection): string {
  const frames = one.frame
    ? `, frame ${one.frame.index + 1} of ${one.frame.of}`
    : one.frameCount > 1
      ? `, of ${one.frameCount} frames`
      : "";
  return [
    `${one.file}: ${one.kind}, ${one.widthPx} x ${one.heightPx} px, ${one.type}${frames}: ${describeVerdict(one.verdict, one.figures)}`,
    ...one.measures.map((measure) => `          ${measureText(measure)}`),
    ...one.figures.map(figureLine),
    ...one.notJudged.map(({ text }) => `  not judged: ${text}`),
    ...(one.flatDetails ? dustLines(one.flatDetails.dust).map((line) => `  dust ${line}`) : []),
    ...one.figures
      .filter((figure) => figure.verdict !== "good")
      .map((figure) => `  To do: ${figure.whatToDo}`),
    ...one.notes.map((note) => `  ${note}`),
  ].join("\n");
}

function figureLine(figure: ProofFigure): string {
  return `  ${figure.verdict.padEnd(6)}  ${figureText(figure)}${sigmaText(figure)}`;
}

/** What a flat can't tell alone is judged where it was held against another. */
function withoutWhatPairsTell(one: Inspection, pairs: readonly FlatPair[]): Inspection {
  return pairs.some(({ files }) => files.includes(one.file))
    ? { ...one, notJudged: one.notJudged.filter(({ id }) => id === "leftoverSun") }
    : one;
}

function sigmaText({ sigma, unit }: ProofFigure): string {
  if (sigma === undefined) return "";
  return unit === "share"
    ? `, ±${Number((100 * sigma).toPrecision(2))} %`
    : `, ±${Number(sigma.toPrecision(2))}`;
}

/** Four significant digits and the unit. */
function measureText({ name, value, sigma, unit }: PlainFigure): string {
  const digits = Number.isInteger(value) ? String(value) : String(Number(value.toPrecision(4)));
  const uncertain = sigma === undefined ? "" : ` ±${Number(sigma.toPrecision(2))}`;
  return `${name} ${digits}${uncertain}${unit === "" ? "" : ` ${unit}`}`;
}

const positive = numberOption("A number above 0 is wanted.", (value) => value > 0 && Number.isFinite(value));

export function registerInspect(program: Command, host: CommandHost = processHost): void {
  addCommand(program, "inspect", "evenfield inspect flat.fits sun-0001.fits --focal-ratio 8")
    .argument("<files...>", "FITS files; of a cube or a SER sequence the frame in its middle is looked at")
    .option(
      "--focal-ratio <number>",
      "of the optics, for the distance of dust; else from the header",
      positive,
    )
    .option("--pixel-micron <number>", "size of a pixel as binned; else from the header", positive)
    .option("--wavelength <nm>", "of the light, for the origin of fringes; else from the header", positive)
    .option("--bandwidth <angstrom>", "full width at half maximum of the filter, for the same", positive)
    .option("--sun <file>", "a picture of the Sun without blur, to look for what is left of it in flats")
    .option("--page <file>", "writes figures, pictures and charts of a file as one HTML page")
    .option("--picture <file>", "writes the file's picture as PNG")
    .option(
      "--looks <files...>",
      "frames of the plain Sun from different pointings, to hold the light of flats against; at least 4, better 9",
    )
    .option(
      "--dark <file>",
      "master dark or bias: of the looks, or with --page of the frame that a flat is shown on",
    )
    .option("--replace", "write over a page or a picture of that name")
    .addHelpText(
      "after",
      "\nFlats of one setting are held against each other, in the order named: that tells clouds, moved dust, and noise\nfrom the pixels' own response, which one flat alone can't.\nTwo flats and two darks of one setting among the files tell conversion, read noise and range of the sensor.",
    )
    .action((files: string[], { json, wavelength, bandwidth, sun, looks, dark, ...optics }) => {
      const random = new Random(1);
      const options = {
        ...optics,
        wavelengthNm: wavelength,
        bandwidthAngstrom: bandwidth,
        sunFile: sun,
        lookFiles: looks,
        darkFile: dark,
        uniform: () => random.uniform(),
      };
      return conclude(host, { command: "inspect", json }, (signal) =>
        inspect(files, given(options), host, signal),
      );
    });
}
