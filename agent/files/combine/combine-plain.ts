import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { type CombinedTile, combineFrames, usualClipSigmas } from "../../imaging/combining/combine.ts";
import { type CommonNoise, fitCommonNoise } from "../../imaging/combining/common-noise.ts";
import { fewRejectedByChance, isSmallSample } from "../../imaging/combining/few-frames.ts";
import type { FrameStack } from "../../imaging/combining/frame-stack.ts";
import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { medianDeviation } from "../../imaging/noise/median-deviation.ts";
import { medianNoise } from "../../imaging/noise/median-noise.ts";
import { clippedNormal } from "../../imaging/numerics/normal.ts";
import { type StoredStack, storedImage, tilePxFor } from "../../open-files/stored-stack.ts";
import { hearStop } from "../hear-stop.ts";
import { ClipCounter } from "./clip-counter.ts";
import { brightDark, describeDuplicates, describeOddLevels, frameLevel } from "./frame-levels.ts";
import { makeTiles } from "./make-tiles.ts";
import { MasterFile, type MasterPixels } from "./master-file.ts";
import {
  type CombineMethod,
  type CombineResult,
  type DarkParts,
  type MasterRequest,
  masterPlans,
  type OpenedSeries,
  shapeOf,
} from "./open-series.ts";

type PlainMethod = Exclude<CombineMethod, "series">;

interface PlainRequest extends MasterRequest {
  /**
   * `clipped`: values further than 3 standard deviations (with n) from the pixel's median are left out, then the mean;
   * the same as `ccdproc.combine` with median and std. Fewer than 12 frames: sigma by the median absolute deviation, and
   * no less than the noise that the pixels have in common.
   */
  readonly method: PlainMethod;
}

/**
 * Combines the values of frames as they are, tile by tile: memory does not grow with their number.
 * The result is float32 [adu] with UNCERT and MASK, not scaled: `apply` divides by its mean.
 * @param onProgress pixels done, of how many
 * @throws InputError, and the signal's reason
 */
export async function combinePlain(
  request: PlainRequest,
  series: OpenedSeries,
  onProgress: (done: number, of: number) => void,
): Promise<CombineResult> {
  const { method } = request;
  const { images, dark, warnings } = series;
  const shape = shapeOf(images);
  const pxCount = shape.widthPx * shape.heightPx;
  using file = new MasterFile(request, masterPlans(request, images, methodText(method, images.length)));
  let donePx = 0;
  const write = (startPx: number, pixels: MasterPixels) => {
    file.write(startPx, pixels);
    donePx += pixels.value.length;
    onProgress(donePx, pxCount);
  };
  const clips = new ClipCounter(images);
  const clipsFew = method === "clipped" && isSmallSample(images.length);
  const noise = clipsFew ? fitCommonNoise(readableFrames(images)) : undefined;
  const stack = countStack(series, method, clips.clipAdu, noise);
  const rejectedFraction = stack
    ? await combineCounts(stack, write, request)
    : await combineNumbers(
        readableFrames(images, clips),
        { method, ...(noise && { noise }) },
        (tile) => write(tile.startPx, finishTile(tile, { method, dark, clips })),
        request.signal,
      );
  const written = file.finish();
  const levels = images.map(frameLevel);
  return {
    method,
    frameCount: images.length,
    ...shape,
    ...written,
    noiseAdu:
      written.noiseAdu === undefined ? undefined : written.noiseAdu / shownNoise(method, images.length),
    rejectedFraction,
    ...(method === "clipped" ? { rejectedByChance: rejectedByChance(images.length) } : {}),
    warnings: [
      ...warnings,
      ...describeDuplicates(levels),
      ...describeOddLevels(levels),
      ...brightDark(dark, levels),
    ],
  };
}

function rejectedByChance(frames: number): number {
  return isSmallSample(frames) ? fewRejectedByChance : clippedNormal(usualClipSigmas).rejected;
}

/** The share of the noise that UNCERT shows: few values and clipped ones show too little, on the median. */
function shownNoise(method: PlainMethod, frames: number): number {
  return medianDeviation(frames) * (method === "clipped" ? clippedNormal(usualClipSigmas).sigmaAfter : 1);
}

function methodText(method: PlainMethod, frames: number): string {
  if (method !== "clipped") return method;
  const spread = isSmallSample(frames) ? "sigma (by MAD, at least the common noise)" : "standard deviations";
  return `mean without values beyond ${usualClipSigmas} ${spread} of the median`;
}

function readableFrames(images: readonly FitsFileImage[], clips?: ClipCounter): FrameStack {
  const { widthPx, heightPx } = shapeOf(images);
  return {
    frameCount: images.length,
    pxCount: widthPx * heightPx,
    readPixels(frameIndex, startPx, into) {
      const pixels = images[frameIndex]!.readPixels(startPx, into.length);
      clips?.count(pixels);
      into.set(pixels);
    },
  };
}

/** The quick way, if all frames hold the same kind of 16-bit counts. */
function countStack(
  { images, dark }: OpenedSeries,
  method: PlainMethod,
  clipAdu: number,
  noise: CommonNoise | undefined,
): StoredStack | undefined {
  const [{ layout, widthPx, rowCount }] = images as [FitsFileImage];
  const { type } = layout;
  if ((type !== "uint16" && type !== "int16") || images.length > 65535) return undefined;
  if (images.some((image) => image.layout.type !== type)) return undefined;
  const pxCount = rowCount * widthPx;
  return {
    frames: images.map(storedImage),
    pxCount,
    tilePx: tilePxFor(images.length, pxCount),
    method,
    clipAdu: type === "uint16" ? clipAdu : Number.POSITIVE_INFINITY,
    ...(noise && { noise }),
    ...(dark && { dark: storedImage(dark.image) }),
    ...(dark?.sigma && { darkSigma: storedImage(dark.sigma) }),
    ...(dark?.mask && { darkMask: storedImage(dark.mask) }),
  };
}

/** @returns the share of values that were rejected */
async function combineCounts(
  stack: StoredStack,
  write: (startPx: number, pixels: MasterPixels) => void,
  { threads, signal }: MasterRequest,
): Promise<number> {
  let rejected = 0;
  await makeTiles(
    stack,
    (startPx, tile) => {
      rejected += tile.rejected;
      write(startPx, tile);
    },
    threads,
    signal,
  );
  return rejected / (stack.pxCount * stack.frames.length);
}

/** Values that are combined between two looks for a stop. */
const valuesAtOnce = 1 << 22;

/** @returns the share of values that were rejected */
async function combineNumbers(
  { frameCount, pxCount, readPixels }: FrameStack,
  options: Parameters<typeof combineFrames>[1],
  write: (tile: CombinedTile) => void,
  signal: AbortSignal | undefined,
): Promise<number> {
  let [rejected, values] = [0, 0];
  const stepPx = Math.max(256, Math.floor(valuesAtOnce / frameCount));
  for (let firstPx = 0; firstPx < pxCount; firstPx += stepPx) {
    await hearStop(signal);
    const part: FrameStack = {
      frameCount,
      pxCount: Math.min(stepPx, pxCount - firstPx),
      readPixels: (frameIndex, startPx, into) => readPixels(frameIndex, firstPx + startPx, into),
    };
    const counts = combineFrames(part, options, (tile) =>
      write({ ...tile, startPx: firstPx + tile.startPx }),
    );
    rejected += counts.rejected;
    values += counts.values;
  }
  return values === 0 ? 0 : rejected / values;
}

/** Takes the dark off and marks what is not to be trusted. */
function finishTile(
  tile: CombinedTile,
  { method, dark, clips }: { method: PlainMethod; dark: DarkParts | undefined; clips: ClipCounter },
): MasterPixels {
  const { startPx } = tile;
  const { length } = tile.value;
  const value = new Float32Array(length);
  const sigma = new Float32Array(length);
  const mask = clips.takeMask(length);
  const darkValue = realPixels(dark?.image, startPx, length);
  const darkSigma = realPixels(dark?.sigma, startPx, length);
  const darkMask = realPixels(dark?.mask, startPx, length);
  for (let i = 0; i < length; i++) {
    const kept = tile.keptCount[i]!;
    value[i] = tile.value[i]! - darkValue[i]!;
    const own = tile.sigmaOfMean[i]! * (method === "median" ? medianNoise(kept) : 1);
    // One value tells nothing of its scatter.
    sigma[i] = kept < 2 ? Number.NaN : Math.hypot(own, darkSigma[i]!);
    mask[i]! |= darkMask[i]!;
    if (kept === 0) mask[i]! |= maskBits.unhealthy;
    else if (2 * kept < clips.frameCount) mask[i]! |= maskBits.rejected;
  }
  return { value, sigma, mask };
}

/** In one array type, so that the loop above stays fast; zeros where there is nothing. */
function realPixels(image: FitsFileImage | undefined, startPx: number, length: number): Float64Array {
  return image === undefined ? new Float64Array(length) : new Float64Array(image.readPixels(startPx, length));
}
