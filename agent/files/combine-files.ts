import { basename } from "node:path";
import { ccdPlans } from "../../drivers/formats/ccd-image.ts";
import type { Card } from "../../drivers/formats/fits-card.ts";
import type { FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { FitsFileWriter } from "../../drivers/formats/fits-file-writer.ts";
import { type CombinedTile, combineFrames } from "../imaging/combine.ts";
import { maskBits } from "../imaging/mask-bits.ts";
import { ClipCounter } from "./clip-counter.ts";
import { FigureSample } from "./figure-sample.ts";
import { handedOn } from "./handed-on.ts";
import { checkSameSize, openImage } from "./image-file.ts";
import { asInputError, InputError } from "./input-error.ts";
import { maskCards } from "./mask-cards.ts";
import { checkOutput } from "./output-name.ts";
import { differences } from "./same-setting.ts";
import { timeCards } from "./time-cards.ts";

export const combineMethods = ["mean", "clipped", "median"] as const;
export type CombineMethod = (typeof combineMethods)[number];

export interface CombineRequest {
  readonly files: readonly string[];
  /** The master frame to be written. */
  readonly output: string;
  /**
   * `clipped`: values further than 3 standard deviations (with n) from the pixel's median are left out, then the mean;
   * the same as `ccdproc.combine` with median and std.
   */
  readonly method: CombineMethod;
  /** A master dark, taken off the result. */
  readonly darkFile?: string;
  readonly replace: boolean;
  readonly writtenUtcMs: number;
}

export interface CombineResult {
  readonly output: string;
  readonly method: CombineMethod;
  readonly frameCount: number;
  readonly widthPx: number;
  readonly heightPx: number;
  /** Median of the result over trusted pixels [adu]. */
  readonly levelAdu: number | undefined;
  /** Median of its one sigma [adu]. */
  readonly noiseAdu: number | undefined;
  /** Share of all values that were left out. */
  readonly rejectedFraction: number;
  readonly maskedPx: number;
  readonly warnings: readonly string[];
}

const clipping = { lowSigma: 3, highSigma: 3, centre: "median", deviation: "std", passes: 1 } as const;

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
  if (request.files.length < 2) {
    throw new InputError(`${request.files.length} file cannot be combined.`, "Name at least two.");
  }
  checkOutput(
    request.output,
    [...request.files, ...(request.darkFile ? [request.darkFile] : [])],
    request.replace,
  );
  const images = request.files.map((path) => open(opened, path));
  const first = images[0]!;
  for (const image of images) checkSameSize(image, first);
  const dark = request.darkFile === undefined ? undefined : open(opened, request.darkFile);
  if (dark) checkSameSize(dark, first);
  const warnings = [
    ...images.slice(1).flatMap((image) => differences(image, first)),
    ...(dark
      ? differences(dark, first, ["EXPTIME", "GAIN", "OFFSET", "XBINNING", "INSTRUME", "ROWORDER"])
      : []),
  ];
  const size = { widthPx: first.widthPx, heightPx: first.rowCount };
  const pxCount = size.widthPx * size.heightPx;
  const clips = new ClipCounter(first, images.length);
  const figures = new FigureSample(pxCount);
  const plans = ccdPlans(
    size,
    { unit: "adu", cards: masterCards(request, images), maskCards },
    { sigma: true, mask: true },
  );
  using writer = makeWriter(request, plans);
  const tiles = new TileWriter(writer, {
    frameCount: images.length,
    method: request.method,
    dark,
    clips,
    figures,
  });
  const readPixels = (frameIndex: number, startPx: number, into: Float64Array) => {
    const pixels = images[frameIndex]!.readPixels(startPx, into.length);
    clips.count(pixels);
    into.set(pixels);
  };
  const counts = combineFrames(
    { frameCount: images.length, pxCount, readPixels },
    { ...clipping, method: request.method },
    (tile) => {
      tiles.write(tile);
      onProgress(tile.startPx + tile.value.length, pxCount);
    },
  );
  finish(writer);
  return {
    output: request.output,
    method: request.method,
    frameCount: images.length,
    ...size,
    levelAdu: figures.medianValue(),
    noiseAdu: figures.medianSigma(),
    rejectedFraction: counts.values === 0 ? 0 : counts.rejected / counts.values,
    maskedPx: tiles.maskedPx,
    warnings,
  };
}

function open(opened: DisposableStack, path: string): FitsFileImage {
  const { file, image } = openImage(path);
  opened.use(file);
  return image;
}

function makeWriter(request: CombineRequest, plans: ReturnType<typeof ccdPlans>): FitsFileWriter {
  try {
    return new FitsFileWriter(request.output, plans, request);
  } catch (error) {
    throw asInputError(error, request.output);
  }
}

function finish(writer: FitsFileWriter): void {
  try {
    writer.finish();
  } catch (error) {
    throw asInputError(error, writer.path);
  }
}

/** Turns combined tiles into the three parts of the master. */
class TileWriter {
  maskedPx = 0;
  constructor(
    readonly writer: FitsFileWriter,
    readonly parts: {
      readonly frameCount: number;
      readonly method: CombineMethod;
      readonly dark: FitsFileImage | undefined;
      readonly clips: ClipCounter;
      readonly figures: FigureSample;
    },
  ) {}

  write(tile: CombinedTile): void {
    const { frameCount, method, clips, figures } = this.parts;
    const length = tile.value.length;
    const dark = this.parts.dark?.readPixels(tile.startPx, length);
    const value = new Float32Array(length);
    const sigma = new Float32Array(length);
    const mask = clips.takeMask(length);
    for (let i = 0; i < length; i++) {
      const kept = tile.keptCount[i]!;
      value[i] = tile.value[i]! - (dark ? dark[i]! : 0);
      // One value tells nothing of its scatter.
      sigma[i] = kept < 2 ? Number.NaN : tile.sigmaOfMean[i]! * (method === "median" ? medianNoise(kept) : 1);
      if (kept === 0) mask[i]! |= maskBits.unhealthy;
      else if (2 * kept < frameCount) mask[i]! |= maskBits.rejected;
      if (mask[i] !== 0) this.maskedPx++;
    }
    figures.add(tile.startPx, { value, sigma, mask });
    this.writer.writePixels(0, tile.startPx, value);
    this.writer.writePixels(1, tile.startPx, sigma);
    this.writer.writePixels(2, tile.startPx, mask);
  }
}

/**
 * How much noisier the median of n normal values is than their mean; within 1 % of the order-statistic integral
 * for odd n from 3 on. The limit is sqrt(π/2).
 */
function medianNoise(n: number): number {
  return n < 3 ? 1 : Math.sqrt((Math.PI / 2) * (n / (n + Math.PI / 2 - 1)));
}

function masterCards(request: CombineRequest, images: readonly FitsFileImage[]): Card[] {
  return [
    ...handedOn(images[0]!.header.cards),
    ...timeCards(images.map((image) => image.header)),
    { keyword: "NCOMBINE", value: images.length, comment: "number of frames combined" },
    ...(request.darkFile === undefined
      ? []
      : [{ keyword: "DARKFILE", value: basename(request.darkFile), comment: "dark that was taken off" }]),
    { keyword: "SWCREATE", value: "evenfield" },
    {
      keyword: "HISTORY",
      value: `evenfield combine: ${methodText[request.method]} of ${images.length} frames`,
    },
    ...images.map((image) => ({ keyword: "HISTORY", value: `  ${basename(image.path)}` })),
  ];
}

const methodText = {
  mean: "mean",
  clipped: "mean without values beyond 3 standard deviations of the median",
  median: "median",
} as const;
