import { Cholesky } from "../numerics/cholesky.ts";
import { cubicKnots, type Knots } from "../numerics/cubic-knots.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { type Splines, splineNormal, splinesAt } from "./dust-splines.ts";

const blocksAcross = 80;
const rounds = 8;
/** How much less a dark block counts than a bright one: what is looked for are shadows. */
const darkShare = 0.4;

/** Medians of small squares. */
interface Blocks {
  readonly value: Float64Array;
  readonly splines: Splines;
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
  const weights = new Float64Array(blocks.value.length).fill(1);
  let solution: Float64Array = new Float64Array(unknowns);
  for (let round = 0; round < rounds; round++) {
    const fit = solve(blocks, weights, across, down);
    if (!fit) break;
    solution = fit;
    const off = blocks.value.map((value, k) => value - predicted(blocks.splines, k, fit));
    const bright = off.filter((one) => one > 0);
    const sigma = 1.4826 * (medianInPlace(bright) ?? 0) || 1e-12;
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
): Blocks {
  const sidePx = Math.max(4, Math.ceil(Math.max(widthPx, heightPx) / blocksAcross));
  const values = new Float64Array(sidePx * sidePx);
  const [xs, ys, medians]: [number[], number[], number[]] = [[], [], []];
  for (let y0 = 0; y0 < heightPx; y0 += sidePx)
    for (let x0 = 0; x0 < widthPx; x0 += sidePx) {
      const [x1, y1] = [Math.min(widthPx, x0 + sidePx), Math.min(heightPx, y0 + sidePx)];
      let count = 0;
      for (let y = y0; y < y1; y++)
        for (let i = y * widthPx + x0; i < y * widthPx + x1; i++)
          if (usePx[i] === 1) values[count++] = picture[i]!;
      if (count < (sidePx * sidePx) / 4) continue;
      xs.push((x0 + x1 - 1) / 2);
      ys.push((y0 + y1 - 1) / 2);
      medians.push(medianInPlace(values, count)!);
    }
  return { value: new Float64Array(medians), splines: splinesAt(xs, ys, across, down) };
}

function predicted({ first, stride, share }: Splines, k: number, solution: Float64Array): number {
  let sum = 0;
  for (let s = 0; s < 16; s++) sum += share[16 * k + s]! * solution[first[k]! + (s >> 2) * stride + (s & 3)]!;
  return sum;
}

function solve(
  { value, splines }: Blocks,
  weights: Float64Array,
  across: Knots,
  down: Knots,
): Float64Array | undefined {
  const n = across.count * down.count;
  const normal = splineNormal(weights, splines, n);
  const right = new Float64Array(n);
  const { first, stride, share } = splines;
  for (let k = 0; k < value.length; k++)
    for (let s = 0; s < 16; s++)
      right[first[k]! + (s >> 2) * stride + (s & 3)]! += weights[k]! * share[16 * k + s]! * value[k]!;
  // Where no block has a say the surface goes on straight.
  const weak = (0.003 * value.length) / n;
  const straight = (at: number, step: number) => {
    const [b, c] = [at + step, at + 2 * step];
    normal[at * n + at]! += weak;
    normal[b * n + at]! -= 2 * weak;
    normal[b * n + b]! += 4 * weak;
    normal[c * n + at]! += weak;
    normal[c * n + b]! -= 2 * weak;
    normal[c * n + c]! += weak;
  };
  for (let row = 0; row < down.count; row++)
    for (let column = 0; column < across.count; column++) {
      const at = row * across.count + column;
      if (column + 2 < across.count) straight(at, 1);
      if (row + 2 < down.count) straight(at, across.count);
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
