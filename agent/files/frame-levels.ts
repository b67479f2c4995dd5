import type { FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { samplePlaces } from "../imaging/combining/sample-places.ts";
import { median } from "../imaging/numerics/order-statistics.ts";

export interface FrameLevel {
  readonly path: string;
  /** Median of the frame [adu]; `undefined` where no pixel has a value. */
  readonly levelAdu: number | undefined;
  /** Usual difference of two neighbours [adu]. */
  readonly stepAdu: number;
}

const piecePx = 256;
const pieces = 16;

/** From 4096 pixels spread over the frame: enough to tell a frame of another kind. */
export function frameLevel(image: FitsFileImage): FrameLevel {
  const values: number[] = [];
  const steps: number[] = [];
  const pxCount = image.rowCount * image.widthPx;
  for (const startPx of samplePlaces(pxCount, piecePx, pieces)) {
    const piece = Array.from(image.readPixels(startPx, Math.min(piecePx, pxCount - startPx)));
    for (const [i, value] of piece.entries()) {
      if (!Number.isFinite(value)) continue;
      values.push(value);
      if (i > 0 && Number.isFinite(piece[i - 1])) steps.push(Math.abs(value - piece[i - 1]!));
    }
  }
  return { path: image.path, levelAdu: median(values), stepAdu: median(steps) ?? 0 };
}

/** Light that steps further than this is a cloud or another lamp, not scintillation: common practice, no source. */
const mostOffFraction = 0.05;

/** Sentences for frames whose level is not that of the others; a frame around zero has none to compare. */
export function oddLevels(levels: readonly FrameLevel[]): string[] {
  const usual = median(levels.flatMap(({ levelAdu }) => levelAdu ?? [])) ?? 0;
  return levels.flatMap(({ path, levelAdu, stepAdu }) => {
    if (levelAdu === undefined) return [`${path} holds no value at all: leave it out`];
    const off = Math.abs(levelAdu - usual);
    if (off <= mostOffFraction * Math.abs(usual) || off <= stepAdu) return [];
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
