import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import type { Shape } from "../numerics/shape.ts";
import { fineSigmaPx, type SmallStructure } from "./small-structure.ts";

export interface ShiftPx {
  readonly x: number;
  readonly y: number;
}

/**
 * Two pictures of one sensor. In their difference the sensor's own pattern, which never moves, is gone; what is left are
 * the shadows where they are now, and less those where they were.
 */
export interface StructurePair {
  readonly shape: Shape;
  /** Small structure of the first, smoothed further so that little of the sensor's pattern is left. */
  readonly first: Float32Array;
  /** Second less first, smoothed alike; NaN where either is. */
  readonly difference: Float32Array;
  /** Variance of what is left of the pixels' own pattern in `first`. */
  readonly patternVariance: number;
}

/** A pixel pattern of 0.7 % leaves slopes of 0.01 % a pixel; those of shadows are ten times that and more. */
const moreSigmaPx = 3;
/** One pixel in so many, each way, tells as much as all: the structure is smooth over that. */
const stridePx = 3;
/** Of both filters together. */
export const wholeSigmaPx = Math.hypot(fineSigmaPx, moreSigmaPx);

export function structurePair(first: SmallStructure, second: SmallStructure): StructurePair {
  return differencePair(
    first,
    second.fine.map((value, i) => value - first.fine[i]!),
  );
}

/** @param difference of the small structures, told in another way */
export function differencePair(first: SmallStructure, difference: Float32Array): StructurePair {
  const { shape } = first;
  return {
    shape,
    first: smoothed(first.fine, shape),
    difference: smoothed(difference, shape),
    // White noise through a Gaussian of σ keeps 1 / (2 √π σ) of itself.
    patternVariance: (first.noiseRms * (fineSigmaPx / wholeSigmaPx)) ** 2,
  };
}

/** Mean square of what a shift of the whole leaves unexplained. */
export function residualAtShift(pair: StructurePair, { x, y }: ShiftPx): number {
  const { shape, first, difference } = pair;
  let [squares, count] = [0, 0];
  for (let v = 0; v < shape.heightPx; v += stridePx)
    for (let u = 0; u < shape.widthPx; u += stridePx) {
      const i = v * shape.widthPx + u;
      const miss = difference[i]! - (sampleBilinear(first, shape, u - x, v - y) - first[i]!);
      if (Number.isNaN(miss)) continue;
      squares += miss * miss;
      count++;
    }
  return count === 0 ? Number.POSITIVE_INFINITY : squares / count;
}

/** In widths and heights of the picture: far enough that no shadow is laid on itself. */
const elsewhere = [0.17, 0.31, -0.23, -0.11] as const;

/**
 * What shift the same difference feigns, one sigma of either coordinate: rms of what is found for the first picture laid
 * elsewhere. One step of the same least squares: feigned shifts are small.
 */
export function chanceShiftPx({ shape, first, difference }: StructurePair): number {
  const { widthPx, heightPx } = shape;
  let [squares, count] = [0, 0];
  for (const right of elsewhere)
    for (const down of elsewhere) {
      const [dx, dy] = [Math.round(right * widthPx), Math.round(down * heightPx)];
      const sum = { xx: 0, xy: 0, yy: 0, x: 0, y: 0 };
      for (let v = Math.max(1, 1 + dy); v < Math.min(heightPx - 1, heightPx - 1 + dy); v += stridePx)
        for (let u = Math.max(1, 1 + dx); u < Math.min(widthPx - 1, widthPx - 1 + dx); u += stridePx) {
          const at = (v - dy) * widthPx + u - dx;
          const slopeX = (first[at - 1]! - first[at + 1]!) / 2;
          const slopeY = (first[at - widthPx]! - first[at + widthPx]!) / 2;
          const seen = difference[v * widthPx + u]!;
          if (Number.isNaN(seen + slopeX + slopeY)) continue;
          sum.xx += slopeX * slopeX;
          sum.xy += slopeX * slopeY;
          sum.yy += slopeY * slopeY;
          sum.x += slopeX * seen;
          sum.y += slopeY * seen;
        }
      const determinant = sum.xx * sum.yy - sum.xy ** 2;
      if (!(determinant > 0)) continue;
      squares += ((sum.yy * sum.x - sum.xy * sum.y) / determinant) ** 2;
      squares += ((sum.xx * sum.y - sum.xy * sum.x) / determinant) ** 2;
      count += 2;
    }
  return count === 0 ? Number.POSITIVE_INFINITY : Math.sqrt(squares / count);
}

function smoothed(picture: Float32Array, shape: Shape): Float32Array {
  const use = new Uint8Array(picture.length);
  for (let i = 0; i < use.length; i++) use[i] = Number.isNaN(picture[i]!) ? 0 : 1;
  const smooth = gaussianBlur(picture, shape, moreSigmaPx, use);
  for (let i = 0; i < smooth.length; i++) if (use[i] === 0) smooth[i] = Number.NaN;
  return smooth;
}

/** Bilinear; NaN off the picture. */
export function sampleBilinear(
  picture: Float32Array,
  { widthPx, heightPx }: Shape,
  x: number,
  y: number,
): number {
  const [u, v] = [Math.floor(x), Math.floor(y)];
  if (u < 0 || v < 0 || u + 1 >= widthPx || v + 1 >= heightPx) return Number.NaN;
  const [fx, fy] = [x - u, y - v];
  const at = v * widthPx + u;
  const upper = picture[at]! * (1 - fx) + picture[at + 1]! * fx;
  const lower = picture[at + widthPx]! * (1 - fx) + picture[at + widthPx + 1]! * fx;
  return upper * (1 - fy) + lower * fy;
}
