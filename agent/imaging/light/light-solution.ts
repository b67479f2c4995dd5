import type { Cholesky } from "../numerics/cholesky.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { CellGrid } from "./cell-means.ts";
import {
  factorise,
  type LookRows,
  normalEquations,
  type Priors,
  perLook,
  priorMatrix,
  RowColumns,
  type SunSlopes,
  type Unknowns,
} from "./light-equations.ts";

/** Structure errors go with the Sun: their covariance is summed over patches of so many cells a side. */
const patchCells = 4;

export interface LightSolution {
  readonly unknowns: Unknowns;
  readonly values: Float64Array;
  readonly factors: Cholesky;
  readonly prior: Float64Array;
  /** Sum of weighted residual rows in every patch of the Sun. */
  readonly patches: readonly Float64Array[];
  /** What the fit leaves over in every row of every look. */
  readonly residuals: readonly Float64Array[];
  readonly sun: Float64Array;
}

export interface LightProblem {
  readonly grid: CellGrid;
  readonly rows: readonly LookRows[];
  readonly unknowns: Unknowns;
}

/** Solves twice: all cells alike, then by the scatter that each shows. @returns `undefined` when the looks do not tell */
export function solveLight(problem: LightProblem, priors: Priors): LightSolution | undefined {
  const { grid, rows, unknowns } = problem;
  const cellCount = grid.columns * grid.rows;
  let sun = sunOf(rows, cellCount, (look, r) => rows[look]!.values[r]!);
  let weights = new Float64Array(cellCount).fill(1 / 0.003 ** 2);
  let solution: LightSolution | undefined;
  const { prior, holding } = priorMatrix(unknowns, rows.length, priors);
  for (let round = 0; round < 3; round++) {
    const columns = new RowColumns(unknowns, slopesOf(sun, grid));
    const { normal, right } = normalEquations(rows, weights, columns);
    const factors = factorise(normal, prior, holding, unknowns.count);
    if (!factors) return undefined;
    const values = factors.solve(right);
    const explained = rows.map((one, look) => explainedBy(one, look, values, columns));
    sun = sunOf(rows, cellCount, (look, r) => rows[look]!.values[r]! - explained[look]![r]!);
    const residuals = rows.map(({ values: seen, cells }, look) =>
      seen.map((value, r) => value - explained[look]![r]! - sun[cells[r]!]!),
    );
    const patches = round === 2 ? patchSums({ grid, rows, unknowns }, residuals, weights, columns) : [];
    solution = { unknowns, values, factors, prior, patches, residuals, sun };
    if (round < 2) weights = weightsOf(rows, residuals, cellCount);
  }
  return solution;
}

function explainedBy(rows: LookRows, look: number, values: Float64Array, columns: RowColumns): Float64Array {
  return mapInto(new Float64Array(rows.cells.length), rows.cells, (_, r) => {
    columns.set(rows, look, r);
    let sum = 0;
    for (let a = 0; a < columns.index.length; a++) sum += columns.value[a]! * values[columns.index[a]!]!;
    return sum;
  });
}

/** Mean of every cell over the looks that show it; NaN where none does. */
function sunOf(
  rows: readonly LookRows[],
  cellCount: number,
  value: (look: number, r: number) => number,
): Float64Array {
  const sun = new Float64Array(cellCount);
  const counts = new Float64Array(cellCount);
  rows.forEach(({ cells }, look) => {
    cells.forEach((cell, r) => {
      sun[cell]! += value(look, r);
      counts[cell]!++;
    });
  });
  return sun.map((sum, cell) => (counts[cell]! > 0 ? sum / counts[cell]! : Number.NaN));
}

/** By the differences of neighbouring cells; 0 where a neighbour is missing. */
function slopesOf(sun: Float64Array, { sidePx, columns, rows }: CellGrid): SunSlopes {
  const slopes = {
    x: new Float64Array(sun.length),
    y: new Float64Array(sun.length),
    laplacian: new Float64Array(sun.length),
  };
  const finite = (value: number) => (Number.isFinite(value) ? value : 0);
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      const cell = row * columns + column;
      const left = column > 0 ? sun[cell - 1]! : Number.NaN;
      const right = column < columns - 1 ? sun[cell + 1]! : Number.NaN;
      const above = row > 0 ? sun[cell - columns]! : Number.NaN;
      const below = row < rows - 1 ? sun[cell + columns]! : Number.NaN;
      slopes.x[cell] = finite((right - left) / (2 * sidePx));
      slopes.y[cell] = finite((below - above) / (2 * sidePx));
      slopes.laplacian[cell] = finite((left + right + above + below - 4 * sun[cell]!) / sidePx ** 2);
    }
  return slopes;
}

/** By the scatter of a cell's looks, with the usual one of all as a floor. */
function weightsOf(
  rows: readonly LookRows[],
  residuals: readonly Float64Array[],
  cellCount: number,
): Float64Array<ArrayBuffer> {
  const squares = new Float64Array(cellCount);
  const counts = new Float64Array(cellCount);
  rows.forEach(({ cells }, look) => {
    cells.forEach((cell, r) => {
      squares[cell]! += residuals[look]![r]! ** 2;
      counts[cell]!++;
    });
  });
  const variance = squares.map((sum, cell) => (counts[cell]! >= 2 ? sum / (counts[cell]! - 1) : Number.NaN));
  const usual = medianAndSigma(variance.filter(Number.isFinite))?.median || 1e-6;
  return variance.map((value) => (Number.isFinite(value) ? 1 / (usual + value) : 0));
}

function patchSums(
  { grid, rows, unknowns }: LightProblem,
  residuals: readonly Float64Array[],
  weights: Float64Array,
  columns: RowColumns,
): Float64Array[] {
  const across = Math.ceil(grid.columns / patchCells);
  const patches = new Map<number, Float64Array>();
  const counts = new Uint8Array(weights.length);
  for (const { cells } of rows) for (const cell of cells) counts[cell]!++;
  rows.forEach((one, look) => {
    one.cells.forEach((cell, r) => {
      const row = Math.floor(cell / grid.columns);
      const patch = Math.floor(row / patchCells) * across + Math.floor((cell % grid.columns) / patchCells);
      let sum = patches.get(patch);
      if (!sum) {
        sum = new Float64Array(unknowns.count);
        patches.set(patch, sum);
      }
      columns.set(one, look, r);
      // The cell's own mean was found from the same looks.
      const spread = Math.sqrt(counts[cell]! / (counts[cell]! - 1));
      const w = weights[cell]! * residuals[look]![r]! * spread;
      for (let a = 0; a < columns.index.length; a++) sum[columns.index[a]!]! += w * columns.value[a]!;
    });
  });
  return [...patches.values()];
}

/** One number that is a sum of unknowns: its value, and its variance by the sandwich of Sun patches and priors. */
export class LinearFigure {
  readonly value: number;
  /** The normal matrix' inverse times the weights. */
  readonly solved: Float64Array;

  constructor(weights: Float64Array, { factors, values }: Pick<LightSolution, "factors" | "values">) {
    this.solved = factors.solve(weights);
    this.value = dot(weights, values);
  }
}

/** Source: sandwich estimator, H. White, Econometrica 48 (1980) 817; by clusters: common practice. */
export function figureSigma(solved: Float64Array, { patches, prior, unknowns }: LightSolution): number {
  let variance = 0;
  for (const patch of patches) variance += dot(patch, solved) ** 2;
  const n = unknowns.count;
  for (let i = 0; i < n; i++) {
    const row = i * n;
    let sum = 0.5 * prior[row + i]! * solved[i]!;
    for (let j = 0; j < i; j++) sum += prior[row + j]! * solved[j]!;
    variance += 2 * solved[i]! * sum;
  }
  return Math.sqrt(Math.max(0, variance));
}

export function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i]! * b[i]!;
  return sum;
}

/** Haze gradients of the looks, across and down, and the corrections of their shifts [px]. */
export function looksOf({ unknowns, values }: LightSolution, looks: number) {
  return Array.from({ length: looks }, (_, look) => {
    const base = unknowns.splines + unknowns.pictures + perLook * look;
    return {
      level: values[base]!,
      hazeX: values[base + 1]!,
      hazeY: values[base + 2]!,
      // The Sun's picture moves against its gradient.
      shiftBy: { x: -values[base + 3]!, y: -values[base + 4]! },
      blurPx2: values[base + 5]!,
    };
  });
}
