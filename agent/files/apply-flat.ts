import { existsSync, mkdirSync } from "node:fs";
import { basename, join } from "node:path";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { sumOfBytes } from "../../drivers/formats/fits-checksum.ts";
import { FitsFile, type FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import type { AppliedCounts } from "../imaging/apply.ts";
import { calibrate, resultCards } from "./calibrate.ts";
import { type Calibration, readCalibration } from "./flat-file.ts";
import { handedOn } from "./handed-on.ts";
import { openImage, sizeText } from "./image-file.ts";
import { asInputError, InputError } from "./input-error.ts";
import { checkOutput } from "./output-name.ts";
import { differences } from "./same-setting.ts";

export interface ApplyRequest {
  readonly flatFile: string;
  readonly darkFile?: string;
  readonly files: readonly string[];
  /** Made if it is not there. A result has the name of its image. */
  readonly outputFolder: string;
  readonly as: "float32" | "uint16";
  readonly replace: boolean;
  readonly writtenUtcMs: number;
}

/** `done before`: the result of the same image, flat and dark is there already and was left alone. */
export interface AppliedFile extends AppliedCounts {
  readonly file: string;
  readonly output: string;
  readonly ended: "written" | "done before";
  readonly warnings: readonly string[];
}

export interface FailedFile {
  readonly file: string;
  readonly happened: string;
  readonly whatToDo: string;
}

export interface ApplyResult {
  readonly flat: string;
  readonly dark?: string;
  readonly as: ApplyRequest["as"];
  readonly applied: readonly AppliedFile[];
  readonly failed: readonly FailedFile[];
}

/** Pixels between two sweeps: the engine sees little of what large arrays take and would let dozens of images pile up. */
const sweepEveryPx = 2_000_000;

/**
 * Calibrates images one by one: dark off, divided by the flat, level kept, masked pixels filled from their
 * neighbours. A file that cannot be used is told and left out; one that was done before is not done again.
 * @param onFile after each file
 * @throws InputError if flat, dark or the folder cannot be used
 */
export function applyFlat(
  request: ApplyRequest,
  onFile: (file: AppliedFile | FailedFile, done: number, of: number) => void,
): ApplyResult {
  const calibration = readCalibration(request.flatFile, request.darkFile);
  try {
    mkdirSync(request.outputFolder, { recursive: true });
  } catch (error) {
    throw asInputError(error, request.outputFolder);
  }
  const applied: AppliedFile[] = [];
  const failed: FailedFile[] = [];
  const pxCount = calibration.flat.image.data.length;
  let unsweptPx = 0;
  for (const [index, path] of request.files.entries()) {
    const ended = tryOne(path, request, calibration);
    if ("ended" in ended) applied.push(ended);
    else failed.push(ended);
    onFile(ended, index + 1, request.files.length);
    unsweptPx += pxCount;
    if (unsweptPx >= sweepEveryPx) {
      Bun.gc(true);
      unsweptPx = 0;
    }
  }
  return {
    flat: request.flatFile,
    ...(request.darkFile === undefined ? {} : { dark: request.darkFile }),
    as: request.as,
    applied,
    failed,
  };
}

function tryOne(path: string, request: ApplyRequest, calibration: Calibration): AppliedFile | FailedFile {
  try {
    return applyToOne(path, request, calibration);
  } catch (error) {
    const input = asInputError(error, path);
    if (!(input instanceof InputError)) throw error;
    return { file: path, happened: input.happened, whatToDo: input.whatToDo };
  }
}

function applyToOne(path: string, request: ApplyRequest, calibration: Calibration): AppliedFile {
  const { file, image } = openImage(path);
  using _ = file;
  checkFits(image, calibration);
  const raw = image.newRaw(image.rowCount * image.widthPx);
  image.readRaw(0, raw);
  const rawSum = String(sumOfBytes(raw));
  const warnings = warningsFor(image, rawSum, calibration);
  const output = join(request.outputFolder, basename(path));
  const origin = originCards(path, rawSum, calibration);
  if (!request.replace && isDone(output, origin, request.as)) {
    return { file: path, output, ended: "done before", mendedPx: 0, leftPx: 0, clampedPx: 0, warnings };
  }
  checkOutput(
    output,
    [path, request.flatFile, ...(request.darkFile ? [request.darkFile] : [])],
    request.replace,
  );
  const result = calibrate(image.decodeRaw(raw), request.as, calibration);
  const cards = [...handedOn(image.header.cards), ...origin, ...resultCards(result, calibration)];
  const hdu = { pixels: result.pixels, shape: [image.rowCount, image.widthPx], cards };
  try {
    writeFitsFile(output, [hdu], request);
  } catch (error) {
    throw asInputError(error, output);
  }
  return { file: path, output, ended: "written", ...result.counts, warnings };
}

function checkFits(image: FitsFileImage, { flat }: Calibration): void {
  if (image.widthPx !== flat.image.widthPx || image.rowCount !== flat.image.heightPx) {
    throw new InputError(
      `${image.path} is ${sizeText(image)} and the flat ${flat.image.widthPx} x ${flat.image.heightPx} px.`,
      "Apply a flat of the same binning and region.",
    );
  }
  const before = image.header.text("FLATFILE");
  if (before !== undefined) {
    throw new InputError(`${image.path} has been divided by ${before} already.`, "Start from the raw image.");
  }
}

function warningsFor(image: FitsFileImage, rawSum: string, { flat, dark }: Calibration): string[] {
  const stated = image.header.text("DATASUM")?.trim();
  return [
    ...(stated === undefined || stated === rawSum
      ? []
      : [`${image.path} does not agree with its own DATASUM: it was changed or damaged`]),
    // A run's own flat is a ratio, its dark long gone.
    ...(flat.header.text("BUNIT")?.trim() === "adu" && !flat.header.has("DARKFILE")
      ? [`${flat.path} says of no dark that was taken off it`]
      : []),
    ...differences(image, flat, ["INSTRUME", "FILTER", "XBINNING", "ROWORDER"]),
    ...(dark
      ? differences(image, dark, ["EXPTIME", "GAIN", "OFFSET", "XBINNING", "INSTRUME", "ROWORDER"])
      : []),
  ];
}

/** What a result was made from; the same values in a file of that name mean that it is done. */
function originCards(path: string, rawSum: string, { flat, dark }: Calibration): Card[] {
  return [
    { keyword: "RAWFILE", value: basename(path), comment: "image as captured" },
    { keyword: "RAWSUM", value: rawSum, comment: "sum of its data" },
    { keyword: "FLATFILE", value: flat.name, comment: "flat it was divided by" },
    { keyword: "FLATSUM", value: flat.sum, comment: "sum of the flat's pixels" },
    ...(dark
      ? [
          { keyword: "DARKFILE", value: dark.name, comment: "dark that was taken off" },
          { keyword: "DARKSUM", value: dark.sum, comment: "sum of the dark's pixels" },
        ]
      : []),
  ];
}

function isDone(output: string, origin: readonly Card[], as: ApplyRequest["as"]): boolean {
  if (!existsSync(output)) return false;
  try {
    using file = FitsFile.open(output);
    const image = file.image();
    const keywords = ["RAWSUM", "FLATSUM", "DARKSUM"];
    return (
      image.layout.type === as &&
      keywords.every(
        (keyword) => image.header.value(keyword) === origin.find((card) => card.keyword === keyword)?.value,
      )
    );
  } catch {
    return false; // not one of ours: `checkOutput` refuses to write over it
  }
}
