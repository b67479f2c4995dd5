import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { samplePlaces } from "../../imaging/combining/sample-places.ts";
import { median, medianInPlace } from "../../imaging/numerics/order-statistics.ts";

export interface FrameLevel {
  readonly path: string;
  /** Median of the frame [adu]; `undefined` where no pixel has a value. */
  readonly levelAdu: number | undefined;
  /** Usual difference of two neighbours [adu]; read from the file when it is asked for. */
  readonly stepAdu: () => number;
  /** The same in two frames only if one is a copy: noise never repeats. `undefined` of an even frame. */
  readonly noiseKey: bigint | undefined;
}

const piecePx = 256;
const pieces = 16;

/** From 4096 pixels spread over the frame: enough to tell a frame of another kind. */
export function frameLevel(image: FitsFileImage): FrameLevel {
  const count = gather(image, valuesOf);
  const noiseKey = noiseKeyOf(found.subarray(0, count));
  return {
    path: image.path,
    levelAdu: medianInPlace(found, count),
    stepAdu: () => medianInPlace(found, gather(image, stepsOf)) ?? 0,
    noiseKey,
  };
}

function noiseKeyOf(values: Float64Array): bigint | undefined {
  return values.every((value) => value === values[0]) ? undefined : BigInt(Bun.hash(values));
}

function valuesOf(piece: Float64Array, values: Float64Array): number {
  let count = 0;
  for (let i = 0; i < piece.length; i++) if (Number.isFinite(piece[i])) values[count++] = piece[i]!;
  return count;
}

function stepsOf(piece: Float64Array, steps: Float64Array): number {
  let count = 0;
  for (let i = 1; i < piece.length; i++) {
    const step = Math.abs(piece[i]! - piece[i - 1]!);
    if (Number.isFinite(step)) steps[count++] = step;
  }
  return count;
}

const found = new Float64Array(piecePx * pieces);

/**
 * Puts what is found in pieces of a frame into `found`.
 * @param find writes what it finds in a piece to the start of `into`, and says how many
 * @returns how many in all
 */
function gather(image: FitsFileImage, find: (piece: Float64Array, into: Float64Array) => number): number {
  const pxCount = image.rowCount * image.widthPx;
  const piece = new Float64Array(Math.min(piecePx, pxCount));
  const raw = image.newRaw(piece.length);
  let count = 0;
  for (const startPx of samplePlaces(pxCount, piecePx, pieces)) {
    image.readRaw(startPx, raw);
    piece.set(image.decodeRaw(raw));
    count += find(piece, found.subarray(count));
  }
  return count;
}

/** Light that steps further than this is a cloud or another lamp, not scintillation: common practice, no source. */
const mostOffFraction = 0.05;

/** Sentences for frames whose level is not that of the others; a frame around zero has none to compare. */
export function describeOddLevels(levels: readonly FrameLevel[]): string[] {
  const usual = median(levels.flatMap(({ levelAdu }) => levelAdu ?? [])) ?? 0;
  return levels.flatMap(({ path, levelAdu, stepAdu }) => {
    if (levelAdu === undefined) return [`${path} holds no value at all: leave it out`];
    const off = Math.abs(levelAdu - usual);
    if (off <= mostOffFraction * Math.abs(usual) || off <= stepAdu()) return [];
    return [
      `${path} has a level of ${levelText(levelAdu)} adu, the middle of all is ${levelText(usual)}: ` +
        "leave it out if it is no frame of this series",
    ];
  });
}

/** A bias taken off darks is as bright as they are; of flats a dark is a small part. */
export function brightDark(
  dark: { readonly image: FitsFileImage } | undefined,
  levels: readonly FrameLevel[],
): string[] {
  const usual = median(levels.flatMap(({ levelAdu }) => levelAdu ?? []));
  if (dark === undefined || usual === undefined) return [];
  const { levelAdu = 0 } = frameLevel(dark.image);
  if (levelAdu <= usual / 2) return [];
  return [
    `${dark.image.path} has a level of ${levelText(levelAdu)} adu and the frames ${levelText(usual)}: ` +
      "all is well if it is a bias taken off darks, else it is no dark of theirs",
  ];
}

/** Sentences for copies under other names: a frame that counts twice shows less noise than there is. */
export function describeDuplicates(levels: readonly FrameLevel[]): string[] {
  const firstPaths = new Map<bigint, string>();
  return levels.flatMap(({ path, noiseKey }) => {
    if (noiseKey === undefined) return [];
    const firstPath = firstPaths.get(noiseKey);
    firstPaths.set(noiseKey, firstPath ?? path);
    if (firstPath === undefined) return [];
    return [`${path} seems to be a copy of ${firstPath}, noise and all: leave one of them out`];
  });
}

/** One decimal of thousands, four digits of less. */
export function levelText(adu: number): string {
  return Math.abs(adu) >= 1000 ? adu.toFixed(1) : String(Number(adu.toPrecision(4)));
}
