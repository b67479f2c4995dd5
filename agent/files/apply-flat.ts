import { existsSync, mkdirSync } from "node:fs";
import { basename, join } from "node:path";
import type { Card } from "../../drivers/formats/fits-card.ts";
import { sumOfBytes } from "../../drivers/formats/fits-checksum.ts";
import { FitsFile, type FitsFileImage } from "../../drivers/formats/fits-file.ts";
import type { FitsPixels } from "../../drivers/formats/fits-pixels.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { type AppliedCounts, applyToFloat32, applyToFloatImage, applyToUint16 } from "../imaging/apply.ts";
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
  for (const [index, path] of request.files.entries()) {
    const ended = tryOne(path, request, calibration);
    if ("ended" in ended) applied.push(ended);
    else failed.push(ended);
    onFile(ended, index + 1, request.files.length);
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
    ...differences(image, flat, ["INSTRUME", "FILTER", "XBINNING", "ROWORDER"]),
    ...(dark
      ? differences(image, dark, ["EXPTIME", "GAIN", "OFFSET", "XBINNING", "INSTRUME", "ROWORDER"])
      : []),
  ];
}

interface Calibrated {
  readonly pixels: Float32Array | Uint16Array;
  readonly counts: AppliedCounts;
  readonly pedestalAdu: number;
}

function calibrate(pixels: FitsPixels, as: ApplyRequest["as"], calibration: Calibration): Calibrated {
  const { factors, dark } = calibration;
  // What noise takes below a dark would be lost in unsigned numbers: they keep the dark's level as their floor.
  const pedestalAdu = as === "uint16" ? calibration.darkLevelAdu : 0;
  const options = { pedestalAdu, ...(dark ? { darkAdu: dark.image.data } : {}) };
  if (pixels instanceof Uint16Array) {
    const apply = as === "uint16" ? applyToUint16 : applyToFloat32;
    const { imageAdu, counts } = apply(pixels, factors, options);
    return { pixels: imageAdu, counts, pedestalAdu };
  }
  const { imageAdu, counts } = applyToFloatImage(Float32Array.from(pixels), factors, options);
  if (as === "float32") return { pixels: imageAdu, counts, pedestalAdu };
  const rounded = roundToUint16(imageAdu);
  return { pixels: rounded.pixels, counts: { ...counts, clampedPx: rounded.clampedPx }, pedestalAdu };
}

/** NaN becomes 0, as does what is below; both count as clamped. */
function roundToUint16(values: Float32Array): { pixels: Uint16Array; clampedPx: number } {
  const pixels = new Uint16Array(values.length);
  let clampedPx = 0;
  for (let i = 0; i < values.length; i++) {
    const value = Math.floor(values[i]! + 0.5);
    if (!(value >= 0 && value <= 65535)) clampedPx++;
    pixels[i] = value >= 0 ? Math.min(value, 65535) : 0;
  }
  return { pixels, clampedPx };
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

function resultCards({ counts, pedestalAdu }: Calibrated, { flat, dark }: Calibration): Card[] {
  const history = (value: string): Card => ({ keyword: "HISTORY", value });
  return [
    { keyword: "BUNIT", value: "adu" },
    { keyword: "MENDED", value: counts.mendedPx, comment: "pixels filled from their neighbours" },
    ...(pedestalAdu === 0
      ? []
      : [{ keyword: "PEDESTAL", value: pedestalAdu, comment: "[adu] added at the end" }]),
    { keyword: "SWMODIFY", value: "evenfield" },
    ...(dark ? [history(`evenfield apply: ${dark.name} taken off`)] : []),
    history(`evenfield apply: divided by ${flat.name}; its mean over trusted pixels counts as 1`),
    ...(counts.mendedPx > 0
      ? [history(`evenfield apply: ${counts.mendedPx} masked pixels are the median of trusted neighbours`)]
      : []),
    ...(counts.leftPx > 0
      ? [
          history(
            `evenfield apply: ${counts.leftPx} masked pixels had no trusted neighbour and are as captured`,
          ),
        ]
      : []),
    ...(counts.clampedPx > 0
      ? [
          history(
            `evenfield apply: ${counts.clampedPx} pixels were beyond 0 to 65535 and are held at the end`,
          ),
        ]
      : []),
  ];
}
