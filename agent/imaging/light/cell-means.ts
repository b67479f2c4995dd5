import type { ShiftPx } from "../displaced/object-grid.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

/** Square cells that lie still on the Sun: cell (0, 0) begins at `left`, `top` in the frame coordinates of shift zero. */
export interface CellGrid {
  readonly sidePx: number;
  readonly left: number;
  readonly top: number;
  readonly columns: number;
  readonly rows: number;
}

/** Cells enough for all that frames so displaced can show. */
export function cellGrid(shape: Shape, shifts: readonly ShiftPx[], sidePx: number): CellGrid {
  const [xs, ys] = [shifts.map(({ x }) => x), shifts.map(({ y }) => y)];
  const [left, top] = [-Math.ceil(Math.max(...xs)), -Math.ceil(Math.max(...ys))];
  const cellsIn = (from: number, to: number) => Math.max(1, Math.ceil((to - from) / sidePx));
  return {
    sidePx,
    left,
    top,
    columns: cellsIn(left, shape.widthPx - Math.floor(Math.min(...xs))),
    rows: cellsIn(top, shape.heightPx - Math.floor(Math.min(...ys))),
  };
}

/**
 * Means of a displaced picture over the cells, sampled between pixels by cubic interpolation.
 * @param picture free of gaps; what it shows at x lies at x - shift on the Sun
 * @returns NaN where a cell and the pixels that it is sampled from do not lie wholly inside the frame
 * Source: cubic convolution with a = -1/2, R. G. Keys, IEEE Trans. ASSP 29 (1981) 1153.
 */
export function cellMeans(picture: Float32Array, shape: Shape, shift: ShiftPx, grid: CellGrid): Float64Array {
  checkShape(picture, shape);
  const { sidePx, columns, rows } = grid;
  const [across, down] = [axisOf(grid.left + shift.x, sidePx), axisOf(grid.top + shift.y, sidePx)];
  const means = new Float64Array(columns * rows).fill(Number.NaN);
  const strips = new Float64Array(columns * shape.heightPx);
  for (let y = 0; y < shape.heightPx; y++)
    addStrips(
      picture,
      y * shape.widthPx,
      shape.widthPx,
      across,
      strips.subarray(y * columns, (y + 1) * columns),
    );
  for (let row = 0; row < rows; row++) {
    const first = down.first + row * sidePx;
    if (first < 0 || first + down.taps.length > shape.heightPx) continue;
    for (let column = 0; column < columns; column++) {
      let sum = 0;
      for (let t = 0; t < down.taps.length; t++)
        sum += down.taps[t]! * strips[(first + t) * columns + column]!;
      means[row * columns + column] = sum;
    }
  }
  return means;
}

interface Axis {
  /** Pixel of the first tap of cell 0. */
  readonly first: number;
  readonly taps: Float64Array;
  readonly sidePx: number;
}

/** A cell's samples lie on whole steps from `place`; every one is four taps, and their sum is `sidePx` + 3 of them. */
function axisOf(place: number, sidePx: number): Axis {
  const whole = Math.floor(place);
  const t = place - whole;
  const cubic = [
    -0.5 * t + t * t - 0.5 * t ** 3,
    1 - 2.5 * t * t + 1.5 * t ** 3,
    0.5 * t + 2 * t * t - 1.5 * t ** 3,
    -0.5 * t * t + 0.5 * t ** 3,
  ];
  const taps = new Float64Array(sidePx + 3);
  for (let sample = 0; sample < sidePx; sample++)
    cubic.forEach((share, k) => {
      taps[sample + k]! += share / sidePx;
    });
  return { first: whole - 1, taps, sidePx };
}

function addStrips(
  picture: Float32Array,
  start: number,
  widthPx: number,
  axis: Axis,
  strips: Float64Array,
): void {
  const { first, taps, sidePx } = axis;
  for (let column = 0; column < strips.length; column++) {
    const from = first + column * sidePx;
    if (from < 0 || from + taps.length > widthPx) {
      strips[column] = Number.NaN;
      continue;
    }
    let sum = 0;
    for (let t = 0; t < taps.length; t++) sum += taps[t]! * picture[start + from + t]!;
    strips[column] = sum;
  }
}
