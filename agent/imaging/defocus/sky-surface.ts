import { cubicKnots, type Knots } from "../numerics/cubic-knots.ts";
import { invertSymmetric } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import { type Look, lookSidePx } from "./look-levels.ts";

export interface PlacePx {
  readonly x: number;
  readonly y: number;
}

export interface SkyInput {
  readonly shape: Shape;
  readonly looks: readonly Look[];
  /** Where the disc's centre lies in a frame of no shift. */
  readonly disc: PlacePx;
  /** Logarithm of the light expected at a distance from the disc's centre [px]; NaN where it is not to be used. */
  readonly expected: (distancePx: number) => number;
}

/** How the blurred Sun lights the frame, as looks from several pointings tell it apart from the rig. */
export interface SkySurface {
  /** Of each look: its level's logarithm, in which transparency and the light's own gradient are one. */
  readonly levels: readonly number[];
  /** Squares of what the solution misses over what noise makes of them; the smaller of two inputs fits better. */
  readonly misfit: number;
  /** How many of these squares are free. */
  readonly freedom: number;
  /** Noise of a pixel in a single frame, one sigma; a share of the level. */
  readonly pixelSigma: number;
  /** What is in the light besides what was expected, logarithm; no gradient in it. */
  besides(place: PlacePx): number;
  /** One sigma of that. */
  besidesSigma(place: PlacePx): number;
}

/** Blocks of the solution, in blocks of a look. */
const blockOfLook = 4;
/** Knots lie this share of the frame's short side apart: what a blurred Sun still shows is not finer. */
const knotOfSide = 0.065;
/** How far a spline's curvature may go, a share of the light from knot to knot. Wide: the looks decide. */
const bendUsual = 0.004;
const none = 1e9;

/**
 * Separates the light from the rig's pattern: what moves with the pointing is light. The light's logarithm is what is
 * expected of a blurred disc plus a cubic spline over the sky; the rig's is free in every block, a level in every look.
 * Least squares over blocks of all looks, the rig eliminated; the gradient of the light is not in it, since a gradient
 * looks the same from everywhere but for its level (see `skyPlane`).
 * Sources: model of displaced flats, J. R. Kuhn et al., PASP 103 (1991) 1097; splines, C. de Boor, A Practical Guide to
 * Splines (1978), chapter IX.
 * @returns `undefined` when fewer than two looks or too few blocks can be used
 */
export function solveSky(input: SkyInput): SkySurface | undefined {
  const { shape, looks, disc } = input;
  const grid = new SkyGrid(shape, looks);
  const blocks = usableBlocks(input);
  const n = grid.count + looks.length;
  if (looks.length < 2 || blocks.length < 40) return undefined;
  const variance = blockVariance(blocks);
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  let squares = 0;
  for (const block of blocks) squares += addBlock(normal, right, block, grid, n, 1 / variance);
  addPriors(normal, grid, looks.length);
  const inverse = invertSymmetric([...normal], n);
  if (!inverse) return undefined;
  const solution = new Float64Array(n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) solution[i]! += inverse[i * n + j]! * right[j]!;
  return {
    levels: Array.from(solution.subarray(grid.count)),
    freedom: Math.max(1, blocks.reduce((sum, block) => sum + block.length - 1, 0) - n),
    misfit: squares - right.reduce((sum, r, i) => sum + r * solution[i]!, 0),
    // Two halves of so many frames, each block a mean of so many pixels.
    pixelSigma: Math.sqrt(2 * variance * looks[0]!.framesPerHalf) * blockOfLook * lookSidePx(shape),
    besides: (place) => grid.weights(place).reduce((sum, [m, share]) => sum + share * solution[m]!, 0),
    besidesSigma: (place) => {
      const weights = grid.weights(place);
      const middle = grid.weights(disc); // a constant is no light: what counts is the difference to the middle
      const all = [...weights, ...middle.map(([m, share]) => [m, -share] as const)];
      let sum = 0;
      for (const [i, a] of all) for (const [j, b] of all) sum += a * b * inverse[i * n + j]!;
      return Math.sqrt(Math.max(0, sum));
    },
  };
}

/** Knots over all of the sky that any look saw. */
class SkyGrid {
  readonly #x: Knots;
  readonly #y: Knots;
  readonly #left: number;
  readonly #top: number;
  readonly columns: number;
  readonly rows: number;

  constructor(shape: Shape, looks: readonly Look[]) {
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

  weights({ x, y }: PlacePx): (readonly [index: number, share: number])[] {
    const [across, down] = [this.#x.at(x - this.#left), this.#y.at(y - this.#top)];
    const all: [number, number][] = [];
    for (let j = 0; j < 4; j++)
      for (let i = 0; i < 4; i++)
        all.push([
          (down.first + j) * this.columns + across.first + i,
          across.share[i as 0 | 1 | 2 | 3] * down.share[j as 0 | 1 | 2 | 3],
        ]);
    return all;
  }
}

interface BlockSeen {
  readonly look: number;
  readonly place: PlacePx;
  /** Logarithm of the level over what is expected, in either half. */
  readonly first: number;
  readonly second: number;
}

/** The same block in every look that can use it; blocks that fewer than two can use tell nothing. */
function usableBlocks({ shape, looks, disc, expected }: SkyInput): BlockSeen[][] {
  const side = lookSidePx(shape);
  const columns = Math.ceil(shape.widthPx / side);
  const rows = Math.ceil(shape.heightPx / side);
  const blocks: BlockSeen[][] = [];
  for (let y0 = 0; y0 + blockOfLook <= rows; y0 += blockOfLook)
    for (let x0 = 0; x0 + blockOfLook <= columns; x0 += blockOfLook) {
      const cells: number[] = [];
      for (let y = y0; y < y0 + blockOfLook; y++)
        for (let x = x0; x < x0 + blockOfLook; x++)
          if (!Number.isNaN(looks[0]!.first[y * columns + x]!)) cells.push(y * columns + x);
      if (cells.length < 0.75 * blockOfLook ** 2) continue;
      const middle = { x: (x0 + blockOfLook / 2) * side - 0.5, y: (y0 + blockOfLook / 2) * side - 0.5 };
      const seen = looks.flatMap(({ shift, first, second }, look): BlockSeen[] => {
        const place = { x: middle.x - shift.x, y: middle.y - shift.y };
        const expectedHere = expected(Math.hypot(place.x - disc.x, place.y - disc.y));
        const mean = (levels: Float32Array) =>
          cells.reduce((sum, cell) => sum + levels[cell]!, 0) / cells.length;
        const [one, other] = [mean(first), mean(second)];
        if (!Number.isFinite(expectedHere) || !(one > 0) || !(other > 0)) return [];
        return [{ look, place, first: Math.log(one) - expectedHere, second: Math.log(other) - expectedHere }];
      });
      if (seen.length >= 2) blocks.push(seen);
    }
  return blocks;
}

/** Of a block in a look, both halves together. */
function blockVariance(blocks: readonly (readonly BlockSeen[])[]): number {
  const levels = new Map<number, { sum: number; count: number }>();
  const all = blocks.flat();
  for (const { look, first, second } of all) {
    const one = levels.get(look) ?? { sum: 0, count: 0 };
    one.sum += first - second;
    one.count++;
    levels.set(look, one);
  }
  const squares = all.reduce((sum, { look, first, second }) => {
    const one = levels.get(look)!;
    return sum + (first - second - one.sum / one.count) ** 2;
  }, 0);
  return Math.max(1e-12, squares / all.length / 4);
}

/** Adds one block's looks with its own free level taken out. @returns the weighted squares of its values */
function addBlock(
  normal: Float64Array,
  right: Float64Array,
  block: readonly BlockSeen[],
  grid: SkyGrid,
  n: number,
  weight: number,
): number {
  const mean = new Map<number, number>();
  const rows = block.map(({ look, place }) => {
    const row = [...grid.weights(place), [grid.count + look, 1] as const];
    for (const [m, share] of row) mean.set(m, (mean.get(m) ?? 0) + share / block.length);
    return row;
  });
  const values = block.map(({ first, second }) => (first + second) / 2);
  const meanValue = values.reduce((sum, value) => sum + value, 0) / values.length;
  rows.forEach((row, k) => {
    for (const [i, a] of row) {
      right[i]! += weight * a * (values[k]! - meanValue);
      for (const [j, b] of row) normal[i * n + j]! += weight * a * b;
    }
  });
  const common = [...mean];
  for (const [i, a] of common)
    for (const [j, b] of common) normal[i * n + j]! -= weight * block.length * a * b;
  return weight * values.reduce((sum, value) => sum + (value - meanValue) ** 2, 0);
}

/** Smooth, without a mean and without a gradient; the levels' own mean is nothing either. */
function addPriors(normal: Float64Array, grid: SkyGrid, lookCount: number): void {
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
