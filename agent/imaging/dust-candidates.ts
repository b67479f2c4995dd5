import { medianAndSigma } from "./order-statistics.ts";
import type { Shape } from "./shape.ts";

export interface DustCandidate {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  /** How many robust sigma of its map the disc is darker than the ring around it. */
  readonly significance: number;
  /** That difference itself, in ln F. */
  readonly contrast: number;
}

/** Smallest disc looked for, and the ladder's step. */
const leastDiameterPx = 6;
const ladder = Math.SQRT2;
const significanceMin = 5;

/**
 * Discs darker than their surroundings over a ladder of sizes, first those that explain most: contrast times diameter.
 * (By significance alone the walls of a ring would come before the ring.)
 * Larger discs are looked for in pictures binned so that a disc is 6 to 12 px wide: the cost stays that of one size.
 */
export function dustCandidates(residual: Float32Array, usePx: Uint8Array, shape: Shape): DustCandidate[] {
  const candidates: DustCandidate[] = [];
  const largest = Math.min(shape.widthPx, shape.heightPx) / 2.5;
  let level = binned(residual, usePx, shape, 1);
  let bin = 1;
  for (let diameterPx = leastDiameterPx; diameterPx <= largest; diameterPx *= ladder) {
    const wanted = 2 ** Math.max(0, Math.floor(Math.log2(diameterPx / leastDiameterPx)));
    if (wanted !== bin) {
      bin = wanted;
      level = binned(residual, usePx, shape, bin);
    }
    candidates.push(...darkDiscs(level, diameterPx / bin, bin));
  }
  return candidates.sort((a, b) => b.contrast * b.diameterPx - a.contrast * a.diameterPx).slice(0, 4000);
}

interface Level {
  readonly shape: Shape;
  /** Sums along each row, one longer than the row, of values and of weights. */
  readonly values: Float64Array;
  readonly weights: Float64Array;
}

function binned(residual: Float32Array, usePx: Uint8Array, shape: Shape, bin: number): Level {
  const widthPx = Math.floor(shape.widthPx / bin);
  const heightPx = Math.floor(shape.heightPx / bin);
  const stride = widthPx + 1;
  const values = new Float64Array(stride * heightPx);
  const weights = new Float64Array(stride * heightPx);
  for (let y = 0; y < heightPx * bin; y++) {
    const to = Math.floor(y / bin) * stride + 1;
    for (let x = 0; x < widthPx * bin; x++) {
      const i = y * shape.widthPx + x;
      if (usePx[i] !== 1) continue;
      const at = to + Math.floor(x / bin);
      values[at]! += residual[i]!;
      weights[at]!++;
    }
  }
  for (let y = 0; y < heightPx; y++)
    for (let x = 1; x < stride; x++) {
      values[y * stride + x]! += values[y * stride + x - 1]!;
      weights[y * stride + x]! += weights[y * stride + x - 1]!;
    }
  return { shape: { widthPx, heightPx }, values, weights };
}

function darkDiscs(level: Level, diameter: number, bin: number): DustCandidate[] {
  const { widthPx, heightPx } = level.shape;
  const contrast = contrastMap(level, diameter / 2);
  const sample: number[] = [];
  for (let i = 0; i < contrast.length; i += 3) if (!Number.isNaN(contrast[i]!)) sample.push(contrast[i]!);
  const spread = medianAndSigma(sample);
  if (!spread || !(spread.sigma > 0)) return [];
  const found: DustCandidate[] = [];
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const here = contrast[y * widthPx + x]!;
      if (!(here > significanceMin * spread.sigma)) continue;
      if (!isPeak(contrast, widthPx, heightPx, x, y)) continue;
      found.push({
        xPx: (x + 0.5) * bin - 0.5,
        yPx: (y + 0.5) * bin - 0.5,
        diameterPx: diameter * bin,
        significance: here / spread.sigma,
        contrast: here,
      });
    }
  return found;
}

/** Mean of the ring (1.4 to 2 radii) less mean of the disc; NaN where less than a third of either lies in the frame. */
function contrastMap(level: Level, radius: number): Float64Array {
  const { widthPx, heightPx } = level.shape;
  const stride = widthPx + 1;
  const disc = chords(radius);
  const gap = chords(radius * 1.4);
  const outer = chords(radius * 2);
  const most = level.weights.reduce((a, b) => Math.max(a, b), 0) / Math.max(1, widthPx); // px per cell, at most
  const map = new Float64Array(widthPx * heightPx);
  const area = (rows: readonly number[]) =>
    rows.reduce((sum, half, k) => sum + (2 * half + 1) * (k === 0 ? 1 : 2), 0);
  const discLeast = (area(disc) * most) / 3;
  const ringLeast = ((area(outer) - area(gap)) * most) / 3;
  const part = { value: 0, weight: 0 };
  const addDisc = (rows: readonly number[], x: number, y: number, sign: number) => {
    for (let dy = 1 - rows.length; dy < rows.length; dy++) {
      const row = y + dy;
      if (row < 0 || row >= heightPx) continue;
      const half = rows[Math.abs(dy)]!;
      const from = row * stride + Math.max(0, x - half);
      const to = row * stride + Math.min(widthPx, x + half + 1);
      part.value += sign * (level.values[to]! - level.values[from]!);
      part.weight += sign * (level.weights[to]! - level.weights[from]!);
    }
  };
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      part.value = part.weight = 0;
      addDisc(disc, x, y, 1);
      const [discValue, discWeight] = [part.value, part.weight];
      part.value = part.weight = 0;
      addDisc(outer, x, y, 1);
      addDisc(gap, x, y, -1);
      map[y * widthPx + x] =
        discWeight > discLeast && part.weight > ringLeast
          ? part.value / part.weight - discValue / discWeight
          : Number.NaN;
    }
  return map;
}

/** Half length of the chord at each distance from the middle row. */
function chords(radius: number): number[] {
  const rows: number[] = [];
  for (let dy = 0; dy <= radius; dy++) rows.push(Math.floor(Math.sqrt(radius * radius - dy * dy)));
  return rows;
}

function isPeak(map: Float64Array, widthPx: number, heightPx: number, x: number, y: number): boolean {
  const here = map[y * widthPx + x]!;
  for (let v = Math.max(0, y - 1); v <= Math.min(heightPx - 1, y + 1); v++)
    for (let u = Math.max(0, x - 1); u <= Math.min(widthPx - 1, x + 1); u++)
      if (map[v * widthPx + u]! > here) return false;
  return true;
}
