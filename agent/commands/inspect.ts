import type { Command } from "commander";
import { given } from "../../drivers/kit/given.ts";
import { Random } from "../../drivers/kit/random.ts";
import { hearStop } from "../files/hear-stop.ts";
import { asFailedFile, type FailedFile } from "../files/input-error.ts";
import { type Inspection, type InspectOptions, inspectFile } from "../files/inspect/inspect-file.ts";
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
import { describeFailedFile } from "./file-trouble.ts";
import { numberOption } from "./number-option.ts";
import { addCommand, type CommandHost, conclude, exitCodes, type Outcome, processHost } from "./outcome.ts";
import { progressWithTimeLeft } from "./time-left.ts";

/**
 * `evenfield inspect`: figures and verdict of each file, and of the sensor when two flats and two darks are among them. Goes on past files
 * that cannot be read.
 */
export async function inspect(
  files: readonly string[],
  options: InspectOptions,
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
  const verdict = inspected.length === 0 ? undefined : worstVerdict(inspected);
  return {
    exitCode:
      failed.length > 0 ? exitCodes.wrongInput : verdict === "bad" ? exitCodes.verdictBad : exitCodes.done,
    result: { verdict, files: inspected, ...(sensor ? { sensor } : {}), failed },
    text: [
      ...inspected.map(textOf),
      ...(sensor ? [sensorLines(sensor).join("\n")] : []),
      ...failed.map((one) => `left out: ${describeFailedFile(one)}`),
    ].join("\n\n"),
  };
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
    ...one.figures.map(
      (figure) => `  ${figure.verdict.padEnd(6)}  ${figureText(figure)}${sigmaText(figure)}`,
    ),
    ...(one.flatDetails ? dustLines(one.flatDetails.dust).map((line) => `  dust ${line}`) : []),
    ...one.figures
      .filter((figure) => figure.verdict !== "good")
      .map((figure) => `  To do: ${figure.whatToDo}`),
    ...one.notes.map((note) => `  ${note}`),
  ].join("\n");
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
    .option(
      "--looks <files...>",
      "frames of the plain Sun from different pointings, to hold the light of flats against; at least 4, better 9",
    )
    .option("--dark <file>", "master dark or bias that is taken off the looks")
    .addHelpText(
      "after",
      "\nTwo flats and two darks of one setting among the files tell conversion, read noise and range of the sensor.",
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
      return conclude(host, json === true, (signal) => inspect(files, given(options), host, signal));
    });
}
