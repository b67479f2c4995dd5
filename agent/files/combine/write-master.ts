import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsFileWriter } from "../../../drivers/formats/fits-file-writer.ts";
import { combineFrames } from "../../imaging/combining/combine.ts";
import type { CountTile } from "../../imaging/combining/combine-counts.ts";
import { type CommonNoise, fitCommonNoise } from "../../imaging/combining/common-noise.ts";
import { isSmallSample } from "../../imaging/combining/few-frames.ts";
import { type StoredStack, storedImage, tilePxFor } from "../../open-files/stored-stack.ts";
import type { Threads } from "../../threads/threads.ts";
import { asInputError } from "../input-error.ts";
import { ClipCounter } from "./clip-counter.ts";
import type { FigureSample } from "./figure-sample.ts";
import { makeTiles } from "./make-tiles.ts";
import { type DarkParts, MasterTiles } from "./master-tiles.ts";

export interface MasterParts {
  readonly images: readonly FitsFileImage[];
  readonly method: "mean" | "clipped" | "median";
  readonly dark: DarkParts | undefined;
  readonly figures: FigureSample;
  /** `undefined`: all on this thread. */
  readonly threads: Threads | undefined;
}

export interface WrittenMaster {
  readonly rejectedFraction: number;
  readonly maskedPx: number;
}

/** Combines the images into the three parts of a master: the quick way if all hold the same kind of 16-bit counts. */
export async function writeMaster(
  writer: FitsFileWriter,
  parts: MasterParts,
  onProgress: (done: number, of: number) => void,
): Promise<WrittenMaster> {
  const clips = new ClipCounter(parts.images[0]!, parts.images.length);
  const noise =
    parts.method === "clipped" && isSmallSample(parts.images.length) ? noiseOf(parts.images) : undefined;
  const stack = countStack(parts, clips.clipAdu, noise);
  return (
    (stack && (await writeCounts(writer, stack, parts, onProgress))) ??
    writeAnyNumbers(writer, parts, { clips, noise }, onProgress)
  );
}

function noiseOf(images: readonly FitsFileImage[]): CommonNoise {
  return fitCommonNoise({
    frameCount: images.length,
    pxCount: pxCountOf(images),
    readPixels: (frameIndex, startPx, into) => into.set(images[frameIndex]!.readPixels(startPx, into.length)),
  });
}

function pxCountOf([first]: readonly FitsFileImage[]): number {
  return first!.rowCount * first!.widthPx;
}

function countStack(
  { images, method, dark }: MasterParts,
  clipAdu: number,
  noise: CommonNoise | undefined,
): StoredStack | undefined {
  const first = images[0]!;
  const { type } = first.layout;
  if ((type !== "uint16" && type !== "int16") || images.length > 65535) return undefined;
  if (images.some((image) => image.layout.type !== type)) return undefined;
  const pxCount = pxCountOf(images);
  return {
    frames: images.map(storedImage),
    pxCount,
    tilePx: tilePxFor(images.length, pxCount),
    method,
    clipAdu: type === "uint16" ? clipAdu : Number.POSITIVE_INFINITY,
    ...(noise ? { noise } : {}),
    ...(dark === undefined ? {} : { dark: storedImage(dark.image) }),
    ...(dark?.sigma === undefined ? {} : { darkSigma: storedImage(dark.sigma) }),
    ...(dark?.mask === undefined ? {} : { darkMask: storedImage(dark.mask) }),
  };
}

async function writeCounts(
  writer: FitsFileWriter,
  stack: StoredStack,
  { figures, threads }: MasterParts,
  onProgress: (done: number, of: number) => void,
): Promise<WrittenMaster | undefined> {
  let rejected = 0;
  let maskedPx = 0;
  let donePx = 0;
  const write = (startPx: number, tile: CountTile) => {
    rejected += tile.rejected;
    maskedPx += tile.maskedPx;
    donePx += tile.value.length;
    figures.add(startPx, tile);
    try {
      for (const [hduIndex, pixels] of [tile.value, tile.sigma, tile.mask].entries()) {
        writer.writePixels(hduIndex, startPx, pixels);
      }
    } catch (error) {
      throw asInputError(error, writer.path);
    }
    onProgress(donePx, stack.pxCount);
  };
  if (!(await makeTiles(stack, write, threads))) return undefined;
  return { rejectedFraction: rejected / (stack.pxCount * stack.frames.length), maskedPx };
}

function writeAnyNumbers(
  writer: FitsFileWriter,
  { images, method, dark, figures }: MasterParts,
  { clips, noise }: { clips: ClipCounter; noise: CommonNoise | undefined },
  onProgress: (done: number, of: number) => void,
): WrittenMaster {
  const pxCount = pxCountOf(images);
  const tiles = new MasterTiles(writer, { frameCount: images.length, method, dark, clips, figures });
  const readPixels = (frameIndex: number, startPx: number, into: Float64Array) => {
    const pixels = images[frameIndex]!.readPixels(startPx, into.length);
    clips.count(pixels);
    into.set(pixels);
  };
  const counts = combineFrames(
    { frameCount: images.length, pxCount, readPixels },
    { method, ...(noise ? { noise } : {}) },
    (tile) => {
      tiles.write(tile);
      onProgress(tile.startPx + tile.value.length, pxCount);
    },
  );
  return {
    rejectedFraction: counts.values === 0 ? 0 : counts.rejected / counts.values,
    maskedPx: tiles.maskedPx,
  };
}
