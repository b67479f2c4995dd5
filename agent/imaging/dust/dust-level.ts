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
export function halved({ shape, values, use, binPx }: Level): Level {
  const [widthPx, heightPx] = [shape.widthPx >> 1, shape.heightPx >> 1];
  const smaller = new Float32Array(widthPx * heightPx);
  const smallerUse = new Uint8Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) {
      let [sum, count] = [0, 0];
      for (const i of [2 * y * shape.widthPx + 2 * x, (2 * y + 1) * shape.widthPx + 2 * x])
        for (let k = i; k <= i + 1; k++)
          if (use[k] === 1) {
            sum += values[k]!;
            count++;
          }
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
