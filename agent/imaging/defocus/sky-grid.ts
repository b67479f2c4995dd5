import { cubicKnots, type Knots } from "../numerics/cubic-knots.ts";
import type { Shape } from "../numerics/shape.ts";
import type { SkyObservation } from "./look-levels.ts";

/** Knots lie this share of the frame's short side apart: what a blurred Sun still shows is not finer. */
const knotOfSide = 0.065;
/** How far a spline's curvature may go, a share of the light from knot to knot. Wide: the looks decide. */
const bendUsual = 0.004;
const none = 1e9;

/** How many of the spline's coefficients count at a place. */
export const skyTerms = 16;

interface SkyPlace {
  readonly x: number;
  readonly y: number;
}

/** Knots over all of the sky that any look saw. */
export class SkyGrid {
  readonly #x: Knots;
  readonly #y: Knots;
  readonly #left: number;
  readonly #top: number;
  readonly columns: number;
  readonly rows: number;

  constructor(shape: Shape, looks: readonly SkyObservation[]) {
    const knotPx = knotOfSide * Math.min(shape.widthPx, shape.heightPx);
    const [xs, ys] = [looks.map(({ shift }) => shift.x), looks.map(({ shift }) => shift.y)];
    this.#left = -Math.max(0, ...xs) - 1;
    this.#top = -Math.max(0, ...ys) - 1;
    this.#x = cubicKnots(shape.widthPx - Math.min(0, ...xs) - this.#left + 1, knotPx);
    this.#y = cubicKnots(shape.heightPx - Math.min(0, ...ys) - this.#top + 1, knotPx);
    this.columns = this.#x.count;
    this.rows = this.#y.count;
  }

  get count(): number {
    return this.columns * this.rows;
  }

  /** The coefficients that count at a place, and how much: `skyTerms` of each, written from `at` on. */
  weightsInto({ x, y }: SkyPlace, indices: Int32Array, shares: Float64Array, at = 0): void {
    const [across, down] = [this.#x.at(x - this.#left), this.#y.at(y - this.#top)];
    let k = at;
    for (let j = 0; j < 4; j++)
      for (let i = 0; i < 4; i++) {
        indices[k] = (down.first + j) * this.columns + across.first + i;
        shares[k++] = across.share[i as 0 | 1 | 2 | 3] * down.share[j as 0 | 1 | 2 | 3];
      }
  }

  /** The spline's value at a place. */
  valueAt({ x, y }: SkyPlace, coefficients: Float64Array): number {
    const [across, down] = [this.#x.at(x - this.#left), this.#y.at(y - this.#top)];
    let value = 0;
    for (let j = 0; j < 4; j++) {
      const row = (down.first + j) * this.columns + across.first;
      for (let i = 0; i < 4; i++)
        value += across.share[i as 0 | 1 | 2 | 3] * down.share[j as 0 | 1 | 2 | 3] * coefficients[row + i]!;
    }
    return value;
  }
}

/** Smooth, without a mean and without a gradient; the levels' own mean is nothing either. */
export function addSkyPriors(normal: Float64Array, grid: SkyGrid, lookCount: number): void {
  const n = grid.count + lookCount;
  const { columns, rows } = grid;
  const add = (terms: readonly (readonly [number, number])[], weight: number) => {
    for (const [i, a] of terms) for (const [j, b] of terms) normal[i * n + j]! += weight * a * b;
  };
  const bend = 1 / bendUsual ** 2;
  const at = (column: number, row: number) => row * columns + column;
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      if (column >= 2)
        add(
          [
            [at(column - 2, row), 1],
            [at(column - 1, row), -2],
            [at(column, row), 1],
          ],
          bend,
        ); // prettier-ignore
      if (row >= 2)
        add(
          [
            [at(column, row - 2), 1],
            [at(column, row - 1), -2],
            [at(column, row), 1],
          ],
          bend,
        );
      if (column >= 1 && row >= 1)
        add(
          [
            [at(column, row), 1],
            [at(column - 1, row), -1],
            [at(column, row - 1), -1],
            [at(column - 1, row - 1), 1],
          ],
          2 * bend,
        );
    }
  const all = Array.from({ length: grid.count }, (_, m) => m);
  add(
    all.map((m) => [m, 1 / grid.count] as const),
    none,
  ); // prettier-ignore
  add(
    all.map((m) => [m, ((m % columns) / (columns - 1) - 0.5) / grid.count] as const),
    none,
  );
  add(
    all.map((m) => [m, (Math.floor(m / columns) / (rows - 1) - 0.5) / grid.count] as const),
    none,
  );
  add(
    Array.from({ length: lookCount }, (_, k) => [grid.count + k, 1 / lookCount] as const),
    none,
  );
}
