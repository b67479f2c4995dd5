import type { ShiftPx } from "../displaced/object-grid.ts";
import { type Splines, splinesAt } from "../dust/dust-splines.ts";
import { Cholesky } from "../numerics/cholesky.ts";
import { cubicKnots, type Knots } from "../numerics/cubic-knots.ts";
import { mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";
import type { CellGrid } from "./cell-means.ts";
import { middleOf } from "./divided-look.ts";

/** Of every look: level, haze gradient across and down, error of the shift (x, y), and of the blur's variance. */
export const perLook = 6;

export interface Priors {
  /** One sigma of a look's haze gradient, from edge to edge. */
  readonly hazeGradient: number;
}
/** One sigma: registration [px], difference of blur [px²], how much the light bends from knot to knot. */
const shiftPx = 0.3;
const blurPx2 = 2;
const bend = 0.01;
/** Holds what frames of a moving Sun cannot tell: the light's mean and slope. */
const held = 1e6;

/** The unknowns' places: splines of the light error first, then pictures whose strength is asked, then the looks. */
export interface Unknowns {
  readonly across: Knots;
  readonly down: Knots;
  readonly splines: number;
  readonly pictures: number;
  readonly count: number;
}

export function unknownsOf(shape: Shape, knotPx: number, looks: number, pictures: number): Unknowns {
  const across = cubicKnots(shape.widthPx, knotPx);
  const down = cubicKnots(shape.heightPx, knotPx);
  const splines = across.count * down.count;
  return { across, down, splines, pictures, count: splines + pictures + perLook * looks };
}

/** One cell of the Sun as one look shows it. */
export interface CellRow {
  readonly look: number;
  /** Middle of the cell on the detector [px]. */
  readonly x: Float64Array;
  readonly y: Float64Array;
}

/** The rows of one look: which cells it shows, and where they lie on the detector. */
export interface LookRows {
  readonly cells: Int32Array;
  readonly x: Float64Array;
  readonly y: Float64Array;
  /** Logarithms of the cells' means. */
  readonly values: Float64Array;
  readonly splines: Splines;
  /** Haze gradient's columns: -1/2 … 1/2 across the frame and down. */
  readonly tiltX: Float64Array;
  readonly tiltY: Float64Array;
  /** One column for each picture whose strength is asked. */
  readonly pictures: readonly Float64Array[];
}

export function rowsOfLook(
  logs: Float64Array,
  onSun: Uint8Array,
  seen: Uint8Array,
  about: {
    readonly grid: CellGrid;
    readonly shift: ShiftPx;
    readonly shape: Shape;
    readonly unknowns: Unknowns;
    readonly pictures: readonly ((x: number, y: number) => number)[];
  },
): LookRows {
  const { grid, shift, shape, unknowns, pictures } = about;
  const cells = new Int32Array(
    Array.from(logs.keys()).filter(
      (cell) => onSun[cell] === 1 && seen[cell]! >= 2 && !Number.isNaN(logs[cell]!),
    ),
  );
  const x = new Float64Array(cells.length);
  const y = new Float64Array(cells.length);
  cells.forEach((cell, r) => {
    const middle = middleOf(grid, cell);
    x[r] = middle.x + shift.x;
    y[r] = middle.y + shift.y;
  });
  return {
    cells,
    x,
    y,
    values: mapInto(new Float64Array(cells.length), cells, (cell) => logs[cell]!),
    splines: splinesAt(x, y, unknowns.across, unknowns.down),
    tiltX: x.map((at) => (at + 0.5) / shape.widthPx - 0.5),
    tiltY: y.map((at) => (at + 0.5) / shape.heightPx - 0.5),
    pictures: pictures.map((at) => x.map((px, r) => at(px, y[r]!))),
  };
}

/** Derivatives of the Sun's logarithm by cell [1/px, 1/px²]. */
export interface SunSlopes {
  readonly x: Float64Array;
  readonly y: Float64Array;
  readonly laplacian: Float64Array;
}

/** Columns of one row: twice `columnsOf` numbers, where they belong and how large they are. */
export class RowColumns {
  readonly index: Int32Array;
  readonly value: Float64Array;

  constructor(
    readonly unknowns: Unknowns,
    readonly slopes: SunSlopes,
  ) {
    this.index = new Int32Array(16 + unknowns.pictures + perLook);
    this.value = new Float64Array(this.index.length);
  }

  /** The light error counts negatively: the frame was divided by it. */
  set(rows: LookRows, look: number, r: number): void {
    const { index, value, unknowns, slopes } = this;
    const { first, stride, share } = rows.splines;
    for (let s = 0; s < 16; s++) {
      index[s] = first[r]! + (s >> 2) * stride + (s & 3);
      value[s] = -share[16 * r + s]!;
    }
    for (let p = 0; p < unknowns.pictures; p++) {
      index[16 + p] = unknowns.splines + p;
      value[16 + p] = -rows.pictures[p]![r]!;
    }
    const from = 16 + unknowns.pictures;
    const base = unknowns.splines + unknowns.pictures + perLook * look;
    const cell = rows.cells[r]!;
    for (let k = 0; k < perLook; k++) index[from + k] = base + k;
    value[from] = 1;
    value[from + 1] = rows.tiltX[r]!;
    value[from + 2] = rows.tiltY[r]!;
    value[from + 3] = slopes.x[cell]!;
    value[from + 4] = slopes.y[cell]!;
    value[from + 5] = slopes.laplacian[cell]!;
  }
}

/** Where each look's row of a cell is; -1 without. */
export function rowOfCell(rows: readonly LookRows[], cellCount: number): Int32Array[] {
  return rows.map(({ cells }) => {
    const places = new Int32Array(cellCount).fill(-1);
    cells.forEach((cell, r) => {
      places[cell] = r;
    });
    return places;
  });
}

/**
 * Normal equations with the Sun's brightness in each cell taken out: every row less its cell's mean over the looks.
 * @param weights of each cell
 */
export function normalEquations(
  rows: readonly LookRows[],
  weights: Float64Array,
  columns: RowColumns,
): { readonly normal: Float64Array; readonly right: Float64Array } {
  const n = columns.unknowns.count;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const sum = new Float64Array(n);
  const isTouched = new Uint8Array(n);
  const touched = new Int32Array(n);
  const places = rowOfCell(rows, weights.length);
  const { index, value } = columns;
  for (let cell = 0; cell < weights.length; cell++) {
    const w = weights[cell]!;
    let [count, total, looks] = [0, 0, 0];
    for (let look = 0; look < rows.length; look++) {
      const r = places[look]![cell]!;
      if (r < 0) continue;
      columns.set(rows[look]!, look, r);
      const one = rows[look]!.values[r]!;
      looks++;
      total += one;
      for (let a = 0; a < index.length; a++) {
        const i = index[a]!;
        const va = value[a]!;
        if (isTouched[i] === 0) {
          isTouched[i] = 1;
          touched[count++] = i;
        }
        sum[i]! += va;
        right[i]! += w * va * one;
        for (let b = 0; b <= a; b++) normal[i * n + index[b]!]! += w * va * value[b]!;
      }
    }
    if (looks === 0) continue;
    const order = touched.subarray(0, count).sort();
    for (let a = 0; a < count; a++) {
      const i = order[a]!;
      const va = (w * sum[i]!) / looks;
      right[i]! -= va * total;
      const row = i * n;
      for (let b = 0; b <= a; b++) normal[row + order[b]!]! -= va * sum[order[b]!]!;
    }
    for (let a = 0; a < count; a++) {
      sum[order[a]!] = 0;
      isTouched[order[a]!] = 0;
    }
  }
  return { normal, right };
}

/** The priors' own normal matrix, lower triangle; what only holds a degeneracy is kept apart. */
export function priorMatrix(
  unknowns: Unknowns,
  looks: number,
  priors: Priors,
): { prior: Float64Array; holding: Float64Array } {
  const { across, down, splines, pictures, count: n } = unknowns;
  const prior = new Float64Array(n * n);
  const holding = new Float64Array(n * n);
  const add = (matrix: Float64Array, terms: readonly (readonly [number, number])[], weight: number) => {
    for (const [i, a] of terms) for (const [j, b] of terms) if (j <= i) matrix[i * n + j]! += weight * a * b;
  };
  const at = (column: number, row: number) => row * across.count + column;
  for (let row = 0; row < down.count; row++)
    for (let column = 0; column < across.count; column++) {
      const bent = (a: number, b: number, c: number) =>
        add(
          prior,
          [
            [a, 1],
            [b, -2],
            [c, 1],
          ],
          1 / bend ** 2,
        ); // prettier-ignore
      if (column >= 2) bent(at(column - 2, row), at(column - 1, row), at(column, row));
      if (row >= 2) bent(at(column, row - 2), at(column, row - 1), at(column, row));
    }
  const all = Array.from({ length: splines }, (_, m) => m);
  const hold = (of: (m: number) => number) =>
    add(
      holding,
      all.map((m) => [m, of(m) / splines] as const),
      held,
    );
  hold(() => 1);
  hold((m) => (m % across.count) / (across.count - 1) - 0.5);
  hold((m) => Math.floor(m / across.count) / (down.count - 1) - 0.5);
  const sigmas = [undefined, priors.hazeGradient, priors.hazeGradient, shiftPx, shiftPx, blurPx2];
  for (let look = 0; look < looks; look++)
    sigmas.forEach((sigma, k) => {
      const i = splines + pictures + perLook * look + k;
      if (sigma !== undefined) prior[i * n + i]! += 1 / sigma ** 2;
    });
  // The looks' common level goes with the Sun's.
  const levels = Array.from(
    { length: looks },
    (_, look) => [splines + pictures + perLook * look, 1 / looks] as const,
  );
  add(holding, levels, held);
  return { prior, holding };
}

export function factorise(
  normal: Float64Array,
  prior: Float64Array,
  holding: Float64Array,
  n: number,
): Cholesky | undefined {
  return Cholesky.of(
    normal.map((value, i) => value + prior[i]! + holding[i]!),
    n,
  );
}
