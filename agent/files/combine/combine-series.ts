import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { HduPlan } from "../../../drivers/formats/fits-header-write.ts";
import type { HduToWrite } from "../../../drivers/formats/fits-write.ts";
import type { SeriesOptions } from "../../imaging/combining/frame-selection.ts";
import { normaliseFlat } from "../../imaging/combining/normalise-flat.ts";
import {
  combineStored,
  type RefusedStored,
  type StoredFrames,
} from "../../imaging/combining/stored-master.ts";
import { mapInto } from "../../imaging/numerics/map-into.ts";
import { nobodyLooked } from "../../imaging/proof/light-figures.ts";
import { lightCards } from "../../masters/light-cards.ts";
import { markUnhealthy, stepOfFrame } from "../../masters/mark-unhealthy.ts";
import { darkHdus, flatHdus } from "../../masters/master-hdus.ts";
import { hasColourFilters, statedKind } from "../frame-kind.ts";
import { hearStop } from "../hear-stop.ts";
import { explainFileErrors, InputError } from "../input-error.ts";
import { clipLevelOf } from "./clip-level.ts";
import { brightDark, describeDuplicates, describeOddLevels, frameLevel } from "./frame-levels.ts";
import { MasterFile, type MasterPixels } from "./master-file.ts";
import {
  type CombineResult,
  type DarkParts,
  type MasterRequest,
  masterOrigin,
  type OpenedSeries,
  shapeOf,
} from "./open-series.ts";

/** What a run makes masters of. */
export type SeriesKind = "flat" | "dark" | "bias";

function seriesKind(images: readonly FitsFileImage[], given: SeriesKind | undefined): SeriesKind | undefined {
  const kind = given ?? statedKind(images[0]!.header);
  return kind === "image" ? undefined : kind;
}

/** Whether frames are all of one kind that a run makes masters of, and of unsigned counts as its cameras give. */
export function isSeries(images: readonly FitsFileImage[], given?: SeriesKind): boolean {
  const kind = seriesKind(images, given);
  return (
    kind !== undefined &&
    images.every((image) => isCounts(image) && (given ?? statedKind(image.header)) === kind)
  );
}

/** @throws InputError if a header says otherwise */
export function checkKind(images: readonly FitsFileImage[], kind: SeriesKind): void {
  for (const image of images) {
    const stated = statedKind(image.header);
    if (stated !== undefined && stated !== kind)
      throw new InputError(
        `${image.path} calls itself a frame of kind ${stated}, not ${kind}.`,
        "Leave out --kind, or the file.",
      );
  }
}

function isCounts({ layout }: FitsFileImage): boolean {
  return layout.type === "uint16" || layout.type === "uint8";
}

/**
 * A master as a run makes it of the same frames: flats are brought to one level, frames with a jump or a cloud's edge are left
 * out, noise is told from all pixels of a level. Of flats the result is 1 on the mean; of darks and biases it is in adu, with
 * hot, stuck and unsteady pixels masked. Frames are read twice; memory does not grow with their number.
 * @param onProgress pixels done, of how many
 * @throws InputError, and the signal's reason
 */
export async function combineSeries(
  request: MasterRequest & { readonly kind?: SeriesKind },
  { images, dark, warnings }: OpenedSeries,
  onProgress: (done: number, of: number) => void,
): Promise<CombineResult> {
  const odd = images.find((image) => !isCounts(image));
  if (odd)
    throw new InputError(
      `${odd.path} does not hold unsigned counts of 8 or 16 bits.`,
      "Combine these with --method clipped.",
    );
  const kind = seriesKind(images, request.kind);
  const isDark = kind === "dark" || kind === "bias";
  const frames = storedFrames(images);
  const { master, refused } = await combineStored(
    frames,
    isDark
      ? optionsOf(images, dark, "dark")
      : { ...optionsOf(images, dark, "light"), clipAdu: clipLevelOf(images) },
    (done, of) => {
      onProgress(done, of);
      return hearStop(request.signal);
    },
  );
  if (!master) throw nothingFit(images, refused);
  const used = images.filter((_, index) => !refused.some((one) => one.index === index));
  const origin = masterOrigin(request, images, used, "master");
  let levelAdu = 1;
  let hdus: HduToWrite[];
  let pixels: MasterPixels;
  if (isDark) {
    markUnhealthy(master, stepOfFrame(wholeFrame(frames, images)));
    hdus = darkHdus(master, origin, kind);
    pixels = { value: master.meanAdu, sigma: master.sigmaAdu, mask: master.mask };
  } else {
    const flat = normaliseFlat(master, { hasColourFilters: hasColourFilters(images[0]!.header) });
    if (!flat) throw nothingLit();
    hdus = flatHdus(flat, master, { ...origin, more: [...origin.more, ...lightCards(nobodyLooked)] });
    levelAdu = flat.levelAdu;
    pixels = { value: flat.gain, sigma: flat.sigma, mask: flat.mask };
  }
  using file = new MasterFile(request, hdus as HduPlan[]);
  file.write(0, pixels);
  const { shape, frameCount, refusedFrames, rejectedFraction } = master;
  const levels = images.map(frameLevel);
  return {
    method: "series",
    frameCount,
    ...shape,
    ...file.finish(levelAdu),
    rejectedFraction,
    refusedFrames,
    warnings: [
      ...warnings,
      ...refused.map(({ index, reason }) => `${images[index]!.path} was left out: ${reasonText[reason]}`),
      ...describeDuplicates(levels),
      ...(isDark ? describeOddLevels(levels) : []),
      ...brightDark(dark, levels),
    ],
  };
}

const reasonText = {
  "level jumped": "its level is not that of the frames before it",
  "uneven cloud": "light falls on it otherwise than on the others, as under a cloud's edge",
} as const;

function nothingFit(images: readonly FitsFileImage[], refused: readonly RefusedStored[]): InputError {
  return new InputError(
    `${images.length - refused.length} of ${images.length} frames are alike, and a master needs two.`,
    "Take new ones in steady light, or combine these as they are with --method clipped.",
  );
}

function nothingLit(): InputError {
  return new InputError(
    "No pixel of the frames is lit and not clipped.",
    "Look at the frames, and at the dark that is taken off them.",
  );
}

/** Frames are brought to one level and looked at for clouds: only what can't be one of the series is left out for its level. */
const levelWalkMost = 0.2;

function optionsOf(
  images: readonly FitsFileImage[],
  dark: DarkParts | undefined,
  kind: SeriesOptions["kind"],
): SeriesOptions {
  const shape = shapeOf(images);
  const whole = (image: FitsFileImage) => {
    const pixels = image.readRows(0, image.rowCount);
    return pixels instanceof Float32Array ? pixels : new Float32Array(pixels);
  };
  const mask = dark?.mask?.readRows(0, shape.heightPx);
  return {
    shape,
    frameCountExpected: images.length,
    kind,
    scaleTolerance: levelWalkMost,
    ...(dark
      ? {
          dark: {
            meanAdu: whole(dark.image),
            sigmaAdu: dark.sigma ? whole(dark.sigma) : new Float32Array(shape.widthPx * shape.heightPx),
          },
        }
      : {}),
    ...(mask
      ? { unhealthyPx: mapInto(new Uint8Array(mask.length), mask, (bits) => (bits === 0 ? 0 : 1)) }
      : {}),
  };
}

function storedFrames(images: readonly FitsFileImage[]): StoredFrames {
  return {
    frameCount: images.length,
    readPixels(frameIndex, startPx, into) {
      const image = images[frameIndex]!;
      explainFileErrors(image.path, () => {
        if (image.layout.bytesPerPixel === 1) {
          into.set(image.readPixels(startPx, into.length));
          return;
        }
        const raw = new Uint8Array(into.buffer as ArrayBuffer, into.byteOffset, into.byteLength);
        image.readRaw(startPx, raw);
        image.decodeRaw(raw); // in place
      });
    },
  };
}

function wholeFrame(frames: StoredFrames, [first]: readonly FitsFileImage[]): Uint16Array {
  const pixels = new Uint16Array(first!.widthPx * first!.rowCount);
  frames.readPixels(0, 0, pixels);
  return pixels;
}
