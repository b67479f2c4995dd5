import type { Shape } from "../numerics/shape.ts";
import type { LookRows } from "./light-equations.ts";

/** A cell of the detector and what no smooth map follows there. */
export interface LeftCell {
  readonly column: number;
  readonly row: number;
  /** Logarithm, above zero where the flat is too bright. */
  readonly mean: number;
  /** Too far out for chance. */
  readonly stands: boolean;
}

/** Chance lets a mean stand so far out in one of thousands of cells [sigma]. */
const standsSigma = 5;

/** What the fit leaves over, stacked by cells of the detector of `sidePx` a side; cells of fewer than four rows are left out. */
export function stackLeftover(
  rows: readonly LookRows[],
  residuals: readonly Float64Array[],
  shape: Shape,
  sidePx: number,
): LeftCell[] {
  const columns = Math.ceil(shape.widthPx / sidePx);
  const count = columns * Math.ceil(shape.heightPx / sidePx);
  const [sums, squares, counts] = [new Float64Array(count), new Float64Array(count), new Float64Array(count)];
  rows.forEach(({ x, y }, look) => {
    for (let r = 0; r < x.length; r++) {
      const cell = Math.floor((y[r]! + 0.5) / sidePx) * columns + Math.floor((x[r]! + 0.5) / sidePx);
      const left = residuals[look]![r]!;
      sums[cell]! += left;
      squares[cell]! += left * left;
      counts[cell]!++;
    }
  });
  const looks = rows.length;
  const total =
    squares.reduce((sum, value) => sum + value, 0) /
    Math.max(
      1,
      counts.reduce((sum, value) => sum + value, 0),
    );
  const cells: LeftCell[] = [];
  for (let cell = 0; cell < count; cell++) {
    const n = counts[cell]!;
    if (n < 4) continue;
    const mean = sums[cell]! / n;
    // Never less than the scatter of all: a few rows may agree by chance.
    const sigma = Math.sqrt(Math.max(total, squares[cell]! / n - mean * mean) / n);
    cells.push({
      column: cell % columns,
      row: Math.floor(cell / columns),
      // Looks' residuals count positively where the flat is too dark; the Sun's mean took its share along.
      mean: -(mean * looks) / (looks - 1),
      stands: Math.abs(mean) > standsSigma * sigma,
    });
  }
  return cells;
}

/** How many rows fall into each cell of `sidePx` a side, row-major. */
export function countRows(rows: readonly LookRows[], shape: Shape, sidePx: number): Float64Array {
  const columns = Math.ceil(shape.widthPx / sidePx);
  const counts = new Float64Array(columns * Math.ceil(shape.heightPx / sidePx));
  for (const { x, y } of rows)
    for (let r = 0; r < x.length; r++)
      counts[Math.floor((y[r]! + 0.5) / sidePx) * columns + Math.floor((x[r]! + 0.5) / sidePx)]!++;
  return counts;
}
