import { Cholesky } from "../numerics/cholesky.ts";
import { cubicKnots, type Knots } from "../numerics/cubic-knots.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";

const blocksAcross = 80;
const rounds = 8;
/** How much less a dark block counts than a bright one: what is looked for are shadows. */
const darkShare = 0.4;

interface Block {
  readonly value: number;
  /** Coefficients that it depends on, and how much on each. */
  readonly at: readonly number[];
  readonly share: readonly number[];
}

/**
 * A smooth surface through a picture: cubic B-splines on knots about `knotPx` apart, fitted to the medians of small blocks,
 * robustly.
 * @param usePx 1 where a pixel counts
 * @returns the surface at every pixel
 * Source: C. de Boor, A Practical Guide to Splines (1978), chapter IX.
 */
export function smoothBackground(
  picture: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  knotPx: number,
): Float32Array {
  const across = cubicKnots(shape.widthPx, knotPx);
  const down = cubicKnots(shape.heightPx, knotPx);
  const blocks = blockMedians(picture, usePx, shape, across, down);
  const unknowns = across.count * down.count;
  const weights = new Float64Array(blocks.length).fill(1);
  let solution: Float64Array = new Float64Array(unknowns);
  for (let round = 0; round < rounds; round++) {
    const fit = solve(blocks, weights, across, down);
    if (!fit) break;
    solution = fit;
    const off = blocks.map((block) => block.value - predicted(block, fit));
    const bright = off.filter((one) => one > 0);
    const sigma = 1.4826 * (medianInPlace(Float64Array.from(bright)) ?? 0) || 1e-12;
    // Least absolute deviations beyond a sigma: no block is ever without a say, so no corner runs away.
    off.forEach((one, k) => {
      weights[k] = (one < -sigma ? darkShare : 1) / Math.max(1, Math.abs(one) / sigma);
    });
  }
  return surface(solution, across, down, shape);
}

function blockMedians(
  picture: Float32Array,
  usePx: Uint8Array,
  { widthPx, heightPx }: Shape,
  across: Knots,
  down: Knots,
): Block[] {
  const sidePx = Math.max(4, Math.ceil(Math.max(widthPx, heightPx) / blocksAcross));
  const values = new Float64Array(sidePx * sidePx);
  const blocks: Block[] = [];
  for (let y0 = 0; y0 < heightPx; y0 += sidePx)
    for (let x0 = 0; x0 < widthPx; x0 += sidePx) {
      const [x1, y1] = [Math.min(widthPx, x0 + sidePx), Math.min(heightPx, y0 + sidePx)];
      let count = 0;
      for (let y = y0; y < y1; y++)
        for (let i = y * widthPx + x0; i < y * widthPx + x1; i++)
          if (usePx[i] === 1) values[count++] = picture[i]!;
      if (count < (sidePx * sidePx) / 4) continue;
      const [u, v] = [across.at((x0 + x1 - 1) / 2), down.at((y0 + y1 - 1) / 2)];
      blocks.push({
        value: medianInPlace(values, count)!,
        at: v.share.flatMap((_, r) => u.share.map((_s, c) => (v.first + r) * across.count + u.first + c)),
        share: v.share.flatMap((down4) => u.share.map((across4) => down4 * across4)),
      });
    }
  return blocks;
}

function predicted({ at, share }: Block, solution: Float64Array): number {
  let sum = 0;
  for (let k = 0; k < at.length; k++) sum += share[k]! * solution[at[k]!]!;
  return sum;
}

function solve(
  blocks: readonly Block[],
  weights: Float64Array,
  across: Knots,
  down: Knots,
): Float64Array | undefined {
  const n = across.count * down.count;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const add = (at: readonly number[], share: readonly number[], value: number, weight: number) => {
    for (let a = 0; a < at.length; a++) {
      const scaled = weight * share[a]!;
      right[at[a]!]! += scaled * value;
      for (let b = 0; b <= a; b++) normal[at[a]! * n + at[b]!]! += scaled * share[b]!; // at rises
    }
  };
  blocks.forEach(({ at, share, value }, k) => {
    if (weights[k]! > 0) add(at, share, value, weights[k]!);
  });
  // Where no block has a say the surface goes on straight.
  const bend = [1, -2, 1];
  const weak = (0.003 * blocks.length) / n;
  for (let row = 0; row < down.count; row++)
    for (let column = 0; column < across.count; column++) {
      const at = row * across.count + column;
      if (column + 2 < across.count) add([at, at + 1, at + 2], bend, 0, weak);
      if (row + 2 < down.count) add([at, at + across.count, at + 2 * across.count], bend, 0, weak);
    }
  return Cholesky.of(normal, n)?.solve(right);
}

function surface(
  solution: Float64Array,
  across: Knots,
  down: Knots,
  { widthPx, heightPx }: Shape,
): Float32Array {
  const columns = Array.from({ length: widthPx }, (_, x) => across.at(x));
  const picture = new Float32Array(widthPx * heightPx);
  const row = new Float64Array(across.count);
  for (let y = 0; y < heightPx; y++) {
    const v = down.at(y);
    row.fill(0);
    for (let r = 0; r < 4; r++)
      for (let c = 0; c < across.count; c++)
        row[c]! += v.share[r]! * solution[(v.first + r) * across.count + c]!;
    for (let x = 0; x < widthPx; x++) {
      const { first, share } = columns[x]!;
      picture[y * widthPx + x] =
        share[0] * row[first]! +
        share[1] * row[first + 1]! +
        share[2] * row[first + 2]! +
        share[3] * row[first + 3]!;
    }
  }
  return picture;
}
