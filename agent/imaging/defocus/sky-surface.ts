import { Cholesky } from "../numerics/cholesky.ts";
import type { Shape } from "../numerics/shape.ts";
import { lookSidePx, type SkyObservation } from "./look-levels.ts";
import { addSkyPriors, SkyGrid, skyTerms } from "./sky-grid.ts";

export interface PlacePx {
  readonly x: number;
  readonly y: number;
}

export interface SkyInput {
  readonly shape: Shape;
  readonly looks: readonly SkyObservation[];
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
  const terms = new BlockTerms(n, looks.length);
  for (const block of blocks) squares += addBlock(normal, right, block, grid, terms, 1 / variance);
  addSkyPriors(normal, grid, looks.length);
  const factors = Cholesky.of(normal, n);
  if (!factors) return undefined;
  const solution = factors.solve(right);
  const addWeights = (weights: Float64Array, place: PlacePx, sign: number) => {
    grid.weightsInto(place, terms.indices, terms.shares);
    for (let k = 0; k < skyTerms; k++) weights[terms.indices[k]!]! += sign * terms.shares[k]!;
  };
  return {
    levels: Array.from(solution.subarray(grid.count)),
    freedom: Math.max(1, blocks.reduce((sum, block) => sum + block.length - 1, 0) - n),
    misfit: squares - right.reduce((sum, r, i) => sum + r * solution[i]!, 0),
    // Two halves of so many frames, each block a mean of so many pixels.
    pixelSigma: Math.sqrt(2 * variance * looks[0]!.framesPerHalf) * blockOfLook * lookSidePx(shape),
    besides: (place) => grid.valueAt(place, solution),
    besidesSigma: (place) => {
      const weights = new Float64Array(n);
      addWeights(weights, place, 1);
      // A constant is no light: what counts is the difference to the middle.
      addWeights(weights, disc, -1);
      return Math.sqrt(factors.variance(weights));
    },
  };
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

/** What a block's looks say of the unknowns: of each look the sky's terms and its own level; used for one block after another. */
class BlockTerms {
  readonly perLook = skyTerms + 1;
  readonly indices: Int32Array;
  readonly shares: Float64Array;
  /** The mean of all looks of the block, by unknown; zeros between two blocks. */
  readonly mean: Float64Array;
  readonly met: Int32Array;

  constructor(
    readonly unknowns: number,
    lookCount: number,
  ) {
    this.indices = new Int32Array(lookCount * this.perLook);
    this.shares = new Float64Array(lookCount * this.perLook);
    this.mean = new Float64Array(unknowns);
    this.met = new Int32Array(lookCount * this.perLook);
  }
}

/**
 * Adds one block's looks with its own free level taken out, to the lower triangle.
 * @returns the weighted squares of its values
 */
function addBlock(
  normal: Float64Array,
  right: Float64Array,
  block: readonly BlockSeen[],
  grid: SkyGrid,
  terms: BlockTerms,
  weight: number,
): number {
  const { perLook, indices, shares, mean, met, unknowns: n } = terms;
  const values = block.map(({ first, second }) => (first + second) / 2);
  const meanValue = values.reduce((sum, value) => sum + value, 0) / values.length;
  let metCount = 0;
  for (let k = 0; k < block.length; k++) {
    const from = k * perLook;
    grid.weightsInto(block[k]!.place, indices, shares, from);
    indices[from + skyTerms] = grid.count + block[k]!.look;
    shares[from + skyTerms] = 1;
    for (let p = from; p < from + perLook; p++) {
      const i = indices[p]!;
      const share = weight * shares[p]!;
      if (mean[i] === 0) met[metCount++] = i;
      mean[i]! += shares[p]! / block.length;
      right[i]! += share * (values[k]! - meanValue);
      for (let q = from; q <= p; q++) normal[i * n + indices[q]!]! += share * shares[q]!; // indices rise
    }
  }
  for (let p = 0; p < metCount; p++) {
    const i = met[p]!;
    const share = weight * block.length * mean[i]!;
    for (let q = 0; q < metCount; q++) {
      const j = met[q]!;
      if (j <= i) normal[i * n + j]! -= share * mean[j]!;
    }
  }
  for (let p = 0; p < metCount; p++) mean[met[p]!] = 0;
  return weight * values.reduce((sum, value) => sum + (value - meanValue) ** 2, 0);
}
