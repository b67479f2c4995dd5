import type { ShiftPx } from "../displaced/object-grid.ts";
import type { DiscPx } from "../displaced/sun-model.ts";
import { quantile } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { type CellGrid, cellMeans } from "./cell-means.ts";

/** A frame of the plain Sun over the flat; 1 is the middle of its lit pixels. */
export interface DividedLook {
  /** Without gaps: pixels that are not to be used hold what their neighbours in the row hold. */
  readonly picture: Float32Array;
  /** 1 where a pixel is not to be used. */
  readonly bad: Float32Array;
  /** Level that became 1 [adu]. */
  readonly levelAdu: number;
}

/** A pixel below this fraction of the bright ones does not see the disc. */
export const onSunFraction = 0.2;
/** A cell with a larger fraction of unusable pixels is left out. */
const badFractionMost = 0.25;

/**
 * @param levelsAdu above the dark; NaN where a pixel is not to be used
 * @param flat mean 1; its masked pixels are not used
 * @returns `undefined` for a frame without light
 */
export function divideLook(
  levelsAdu: Float32Array,
  flat: { readonly gain: Float32Array; readonly mask: Uint8Array },
  shape: Shape,
): DividedLook | undefined {
  checkShape(levelsAdu, shape);
  const { gain, mask } = flat;
  const picture = new Float32Array(levelsAdu.length);
  const bad = new Float32Array(levelsAdu.length);
  for (let i = 0; i < picture.length; i++) {
    const value = levelsAdu[i]! / gain[i]!;
    if (mask[i] === 0 && gain[i]! > 0 && Number.isFinite(value)) picture[i] = value;
    else bad[i] = 1;
  }
  const levelAdu = litLevel(picture, bad);
  if (levelAdu === undefined) return undefined;
  for (let i = 0; i < picture.length; i++) picture[i]! /= levelAdu;
  fillRows(picture, bad, shape.widthPx);
  return { picture, bad, levelAdu };
}

/** Median of the pixels that see the disc. */
function litLevel(picture: Float32Array, bad: Float32Array): number | undefined {
  const every = Math.max(1, Math.floor(picture.length / 20_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < picture.length; i += every) if (bad[i] === 0) sample.push(picture[i]!);
  const bright = quantile(sample, 0.98);
  if (bright === undefined || !(bright > 0)) return undefined;
  return quantile(
    sample.filter((value) => value > onSunFraction * bright),
    0.5,
  );
}

/** Between the nearest usable pixels to the left and right. */
function fillRows(picture: Float32Array, bad: Float32Array, widthPx: number): void {
  for (let start = 0; start < picture.length; start += widthPx) {
    let left = -1;
    for (let x = 0; x < widthPx; x++) {
      if (bad[start + x] === 0) {
        left = x;
        continue;
      }
      let right = x;
      while (right < widthPx && bad[start + right] === 1) right++;
      const before = left < 0 ? picture[start + right] : picture[start + left];
      const after = right === widthPx ? picture[start + left] : picture[start + right];
      for (; x < right; x++) picture[start + x] = ((before ?? 0) + (after ?? 0)) / 2;
      x--;
    }
  }
}

/** Logarithms of the cells' linear means; NaN off the frame, off the disc, and where too many pixels are unusable. */
export function cellLogs(look: DividedLook, shape: Shape, shift: ShiftPx, grid: CellGrid): Float64Array {
  const means = cellMeans(look.picture, shape, shift, grid);
  const bad = cellMeans(look.bad, shape, shift, grid);
  for (let cell = 0; cell < means.length; cell++)
    means[cell] = bad[cell]! <= badFractionMost && means[cell]! > 0 ? Math.log(means[cell]!) : Number.NaN;
  return means;
}

/** The limb is never compared across: a disc's cells end at this fraction of its radius. */
const limbFraction = 0.94;
/** Without a known disc, cells this near to dark ones are left out [cells]. */
const fromDarkCells = 3;

/**
 * Which cells of the Sun may be compared: 1 for those well inside the disc.
 * @param disc as shift zero shows it; without it, cells that some look shows dark and their surroundings are left out
 */
export function cellsOnSun(logs: readonly Float64Array[], grid: CellGrid, disc?: DiscPx): Uint8Array {
  const { sidePx, columns, rows } = grid;
  const use = new Uint8Array(columns * rows).fill(1);
  if (disc) {
    const most = limbFraction * disc.radiusPx - sidePx / Math.SQRT2;
    for (let cell = 0; cell < use.length; cell++) {
      const { x, y } = middleOf(grid, cell);
      if (Math.hypot(x - disc.x, y - disc.y) > most) use[cell] = 0;
    }
    return use;
  }
  const dark = Math.log(onSunFraction);
  for (let cell = 0; cell < use.length; cell++)
    if (logs.some((look) => look[cell]! < dark)) clearAround(use, grid, cell);
  return use;
}

function clearAround(use: Uint8Array, { columns, rows }: CellGrid, cell: number): void {
  const [column, row] = [cell % columns, Math.floor(cell / columns)];
  for (let y = Math.max(0, row - fromDarkCells); y <= Math.min(rows - 1, row + fromDarkCells); y++)
    for (let x = Math.max(0, column - fromDarkCells); x <= Math.min(columns - 1, column + fromDarkCells); x++)
      use[y * columns + x] = 0;
}

/** Middle of a cell in the frame coordinates of shift zero [px]. */
export function middleOf({ sidePx, left, top, columns }: CellGrid, cell: number): { x: number; y: number } {
  return {
    x: left + ((cell % columns) + 0.5) * sidePx - 0.5,
    y: top + (Math.floor(cell / columns) + 0.5) * sidePx - 0.5,
  };
}
