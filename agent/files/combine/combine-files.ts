import { realpathSync } from "node:fs";
import { basename } from "node:path";
import { ccdPlans } from "../../../drivers/formats/ccd-image.ts";
import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { FitsFileWriter } from "../../../drivers/formats/fits-file-writer.ts";
import { usualClipSigmas } from "../../imaging/combining/combine.ts";
import { fewRejectedByChance, isFew } from "../../imaging/combining/few-frames.ts";
import { medianDeviation } from "../../imaging/noise/median-deviation.ts";
import { clippedNormal } from "../../imaging/numerics/normal.ts";
import { median } from "../../imaging/numerics/order-statistics.ts";
import { maskLegend } from "../../masters/mask-legend.ts";
import { originCards, timeCards } from "../../masters/master-cards.ts";
import { checkIsDark } from "../check-kind.ts";
import { statedKind } from "../frame-kind.ts";
import { checkSameSize, openImage } from "../image-file.ts";
import { asInputError, InputError } from "../input-error.ts";
import { keptCards } from "../kept-cards.ts";
import { checkOutput } from "../output-name.ts";
import { differences } from "../same-setting.ts";
import { exposureSpans } from "./exposure-spans.ts";
import { FigureSample } from "./figure-sample.ts";
import { copies, type FrameLevel, frameLevel, levelText, oddLevels } from "./frame-levels.ts";
import type { DarkParts } from "./master-tiles.ts";
import { writeMaster } from "./write-master.ts";

export const combineMethods = ["mean", "clipped", "median"] as const;
export type CombineMethod = (typeof combineMethods)[number];

/** What every method needs to be told. */
export interface MasterRequest {
  readonly files: readonly string[];
  /** The master frame to be written. */
  readonly output: string;
  /** A master dark, taken off. */
  readonly darkFile?: string;
  readonly replace: boolean;
  readonly writtenUtcMs: number;
}

export interface CombineRequest extends MasterRequest {
  /**
   * `clipped`: values further than 3 standard deviations (with n) from the pixel's median are left out, then the mean;
   * the same as `ccdproc.combine` with median and std. Fewer than 12 frames: sigma by the median absolute deviation, and
   * no less than the noise that the pixels have in common.
   */
  readonly method: CombineMethod;
  /** Default: as many as pay. */
  readonly threads?: 1 | 2;
}

export interface CombineResult {
  readonly output: string;
  readonly method: CombineMethod | "displaced";
  readonly frameCount: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Median of the result over trusted pixels [adu]. */
  readonly levelAdu: number | undefined;
  /** One sigma of a pixel of the result [adu], from the scatter of the frames. */
  readonly noiseAdu: number | undefined;
  /** Share of all values that were left out. */
  readonly rejectedFraction: number;
  /** Share that clipping leaves out of nothing but noise, at most. */
  readonly rejectedByChance?: number;
  readonly maskedPx: number;
  readonly warnings: readonly string[];
}

/**
 * Makes a master frame from FITS files, tile by tile: memory does not grow with their number.
 * The result is float32 [adu] with UNCERT and MASK, not scaled: `apply` divides by its mean.
 * @param onProgress pixels done, of how many
 * @throws InputError
 */
export function combineFiles(
  request: CombineRequest,
  onProgress: (done: number, of: number) => void,
): CombineResult {
  using opened = new DisposableStack();
  const { images, dark, warnings } = openSeries(request, 2, opened);
  const first = images[0]!;
  const size = { widthPx: first.widthPx, heightPx: first.rowCount };
  const figures = new FigureSample(size.widthPx * size.heightPx);
  const plans = ccdPlans(
    size,
    {
      unit: "adu",
      cards: masterCards(request, images, methodText(request.method, images.length)),
      maskCards: maskLegend,
    },
    { sigma: true, mask: true },
  );
  using writer = makeWriter(request, plans);
  const written = writeMaster(
    writer,
    { images, method: request.method, dark, figures, threads: request.threads },
    onProgress,
  );
  finish(writer);
  const levels = images.map(frameLevel);
  return {
    output: request.output,
    method: request.method,
    frameCount: images.length,
    ...size,
    levelAdu: figures.medianValue(),
    noiseAdu: noiseOf(figures, request.method, images.length),
    ...written,
    ...(request.method === "clipped" ? { rejectedByChance: rejectedByChance(images.length) } : {}),
    warnings: [
      ...warnings,
      ...copies(levels),
      ...oddLevels(levels),
      ...brightDark(dark, levels),
      ...(written.maskedPx < size.widthPx * size.heightPx ? [] : [nothingTrusted]),
    ],
  };
}

const nothingTrusted =
  "no pixel of the result is to be trusted: all are clipped or missing in the frames, or masked in the dark";

/** A bias taken off darks is as bright as they are; of flats a dark is a small part. */
function brightDark(dark: DarkParts | undefined, levels: readonly FrameLevel[]): string[] {
  const usual = median(levels.flatMap(({ levelAdu }) => levelAdu ?? []));
  if (dark === undefined || usual === undefined) return [];
  const { levelAdu = 0 } = frameLevel(dark.image);
  if (levelAdu <= usual / 2) return [];
  return [
    `${dark.image.path} has a level of ${levelText(levelAdu)} adu and the frames ${levelText(usual)}: ` +
      "all is well if it is a bias taken off darks, else it is no dark of theirs",
  ];
}

function rejectedByChance(frames: number): number {
  return isFew(frames) ? fewRejectedByChance : clippedNormal(usualClipSigmas).rejected;
}

/** UNCERT is what the kept values show; what few values and clipped ones show is too little, on the median. */
function noiseOf(figures: FigureSample, method: CombineMethod, frames: number): number | undefined {
  const sigma = figures.medianSigma();
  if (sigma === undefined) return undefined;
  return (
    sigma / medianDeviation(frames) / (method === "clipped" ? clippedNormal(usualClipSigmas).sigmaAfter : 1)
  );
}

/**
 * Opens the files and the dark; they are closed with `opened`.
 * @throws InputError for too few, for unequal sizes, or if the output may not be written
 */
export function openSeries(
  request: MasterRequest,
  filesLeast: number,
  opened: DisposableStack,
): {
  readonly images: readonly FitsFileImage[];
  readonly dark: DarkParts | undefined;
  readonly warnings: readonly string[];
} {
  const images = request.files.map((path) => open(opened, path));
  checkNamedOnce(request.files);
  if (images.length < filesLeast) {
    const files = images.length === 1 ? "1 file" : `${images.length} files`;
    throw new InputError(
      `${files} cannot be combined.`,
      `Name at least ${filesLeast === 2 ? "two" : filesLeast}.`,
    );
  }
  checkOutput(
    request.output,
    [...request.files, ...(request.darkFile ? [request.darkFile] : [])],
    request.replace,
  );
  const first = images[0]!;
  for (const image of images) checkSameSize(image, first);
  const dark = request.darkFile === undefined ? undefined : openDark(opened, request.darkFile, first);
  const warnings = [
    ...images.slice(1).flatMap((image) => [...otherKind(image, first), ...differences(image, first)]),
    ...(dark
      ? differences(dark.image, first, ["EXPTIME", "GAIN", "OFFSET", "XBINNING", "INSTRUME", "ROWORDER"])
      : []),
  ];
  return { images, dark, warnings };
}

/** A frame that counts twice would show less noise than there is. @throws InputError */
function checkNamedOnce(files: readonly string[]): void {
  const seen = new Set<string>();
  for (const path of files) {
    const real = realpathSync(path);
    if (seen.has(real)) throw new InputError(`${path} is named twice.`, "Name each frame once.");
    seen.add(real);
  }
}

function otherKind(image: FitsFileImage, first: FitsFileImage): string[] {
  const [kind, firstKind] = [statedKind(image.header), statedKind(first.header)];
  if (kind === undefined || firstKind === undefined || kind === firstKind) return [];
  return [`${image.path} calls itself a frame of kind ${kind}, ${first.path} of kind ${firstKind}`];
}

function open(opened: DisposableStack, path: string): FitsFileImage {
  const { file, image } = openImage(path);
  opened.use(file);
  return image;
}

function openDark(opened: DisposableStack, path: string, first: FitsFileImage): DarkParts {
  const { file, image } = openImage(path);
  opened.use(file);
  checkIsDark(image);
  const parts = { image, sigma: file.findImage("UNCERT"), mask: file.findImage("MASK") };
  for (const part of [parts.image, parts.sigma, parts.mask]) if (part) checkSameSize(part, first);
  return parts;
}

export function makeWriter(request: MasterRequest, plans: ReturnType<typeof ccdPlans>): FitsFileWriter {
  try {
    return new FitsFileWriter(request.output, plans, request);
  } catch (error) {
    throw asInputError(error, request.output);
  }
}

export function finish(writer: FitsFileWriter): void {
  try {
    writer.finish();
  } catch (error) {
    throw asInputError(error, writer.path);
  }
}

/** @param how in words, for HISTORY */
export function masterCards(request: MasterRequest, images: readonly FitsFileImage[], how: string): Card[] {
  return [
    ...keptCards(images[0]!.header.cards),
    ...timeCards(exposureSpans(images.map((image) => image.header))),
    ...originCards(images.length, darkName(request)),
    ...historyCards(how, images),
  ];
}

function darkName({ darkFile }: MasterRequest): string | undefined {
  return darkFile === undefined ? undefined : basename(darkFile);
}

function historyCards(how: string, images: readonly FitsFileImage[]): Card[] {
  return [
    `evenfield combine: ${how} of ${images.length} frames`,
    ...images.map(({ path }) => `  ${basename(path)}`),
  ].map((value) => ({ keyword: "HISTORY", value }));
}

function methodText(method: CombineMethod, frames: number): string {
  if (method !== "clipped") return method;
  const spread = isFew(frames) ? "sigma (by MAD, at least the common noise)" : "standard deviations";
  return `mean without values beyond ${usualClipSigmas} ${spread} of the median`;
}
