import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import type { Shape } from "../numerics/shape.ts";

/** A picture in cells of `binPx` squared pixels. */
export interface Level {
  readonly shape: Shape;
  readonly values: Float32Array;
  readonly use: Uint8Array;
  readonly binPx: number;
}

/** Cells twice as wide; one needs two of its four parts. */
export function halveResolution({ shape, values, use, binPx }: Level): Level {
  const [widthPx, heightPx] = [shape.widthPx >> 1, shape.heightPx >> 1];
  const smaller = new Float32Array(widthPx * heightPx);
  const smallerUse = new Uint8Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const upper = 2 * y * shape.widthPx + 2 * x;
      const lower = upper + shape.widthPx;
      const count = use[upper]! + use[upper + 1]! + use[lower]! + use[lower + 1]!;
      const sum =
        use[upper]! * values[upper]! +
        use[upper + 1]! * values[upper + 1]! +
        use[lower]! * values[lower]! +
        use[lower + 1]! * values[lower + 1]!;
      smaller[y * widthPx + x] = count > 0 ? sum / count : 0;
      smallerUse[y * widthPx + x] = count >= 2 ? 1 : 0;
    }
  return { shape: { widthPx, heightPx }, values: smaller, use: smallerUse, binPx: 2 * binPx };
}

/** Rise per cell of the picture smoothed over a cell. */
export interface Slopes {
  readonly x: Float32Array;
  readonly y: Float32Array;
}

export function slopesOf({ values, shape, use }: Level): Slopes {
  const { widthPx, heightPx } = shape;
  const smooth = gaussianBlur(values, shape, 1, use);
  const slopes = { x: new Float32Array(values.length), y: new Float32Array(values.length) };
  for (let y = 1; y + 1 < heightPx; y++)
    for (let i = y * widthPx + 1; i < y * widthPx + widthPx - 1; i++) {
      slopes.x[i] = (smooth[i + 1]! - smooth[i - 1]!) / 2;
      slopes.y[i] = (smooth[i + widthPx]! - smooth[i - widthPx]!) / 2;
    }
  return slopes;
}

/** At most about so many values, evenly over all of them. */
export function sampleOf(map: Float32Array, count: number): Float32Array {
  const every = Math.max(1, Math.floor(map.length / count)) | 1; // odd, so that it drifts over the columns
  const sample = new Float32Array(Math.ceil(map.length / every));
  for (let k = 0; k < sample.length; k++) sample[k] = map[k * every]!;
  return sample;
}

/** Places that are above a value and not below any of their eight neighbours. */
export function findPeaks(
  map: Float32Array,
  { widthPx, heightPx }: Shape,
  least: number,
): { readonly x: number; readonly y: number; readonly value: number }[] {
  const found: { x: number; y: number; value: number }[] = [];
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      const value = map[y * widthPx + x]!;
      if (value > least && isPeak(map, widthPx, heightPx, x, y)) found.push({ x, y, value });
    }
  return found;
}

function isPeak(map: Float32Array, widthPx: number, heightPx: number, x: number, y: number): boolean {
  const here = map[y * widthPx + x]!;
  for (let v = Math.max(0, y - 1); v <= Math.min(heightPx - 1, y + 1); v++)
    for (let u = Math.max(0, x - 1); u <= Math.min(widthPx - 1, x + 1); u++)
      if (map[v * widthPx + u]! > here) return false;
  return true;
}
