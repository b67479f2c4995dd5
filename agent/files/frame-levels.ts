import type { FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { samplePlaces } from "../imaging/combining/sample-places.ts";
import { median, medianInPlace } from "../imaging/numerics/order-statistics.ts";

export interface FrameLevel {
  readonly path: string;
  /** Median of the frame [adu]; `undefined` where no pixel has a value. */
  readonly levelAdu: number | undefined;
  /** Usual difference of two neighbours [adu]; read from the file when it is asked for. */
  readonly stepAdu: () => number;
}

const piecePx = 256;
const pieces = 16;

/** From 4096 pixels spread over the frame: enough to tell a frame of another kind. */
export function frameLevel(image: FitsFileImage): FrameLevel {
  return {
    path: image.path,
    levelAdu: medianOfPieces(image, valuesOf),
    stepAdu: () => medianOfPieces(image, stepsOf) ?? 0,
  };
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

/** @param find writes what it finds in a piece to the start of `into`, and says how many */
function medianOfPieces(
  image: FitsFileImage,
  find: (piece: Float64Array, into: Float64Array) => number,
): number | undefined {
  const pxCount = image.rowCount * image.widthPx;
  const piece = new Float64Array(Math.min(piecePx, pxCount));
  const raw = image.newRaw(piece.length);
  let count = 0;
  for (const startPx of samplePlaces(pxCount, piecePx, pieces)) {
    image.readRaw(startPx, raw);
    piece.set(image.decodeRaw(raw));
    count += find(piece, found.subarray(count));
  }
  return medianInPlace(found, count);
}

/** Light that steps further than this is a cloud or another lamp, not scintillation: common practice, no source. */
const mostOffFraction = 0.05;

/** Sentences for frames whose level is not that of the others; a frame around zero has none to compare. */
export function oddLevels(levels: readonly FrameLevel[]): string[] {
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

/** One decimal of thousands, four digits of less. */
export function levelText(adu: number): string {
  return Math.abs(adu) >= 1000 ? adu.toFixed(1) : String(Number(adu.toPrecision(4)));
}
