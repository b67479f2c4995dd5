import { boxAlongRows, boxBlurs } from "./box-blur.ts";
import { checkShape, type Shape } from "./shape.ts";

/**
 * Gaussian blur over the pixels that are 1 in `usePx`, or all; the others weigh nothing, and edges need no padding.
 * Three box filters in a row stand for the Gaussian (3 % at worst), so the cost does not grow with sigma.
 * @returns 0 where nothing to be used lies within reach
 * Source: W. M. Wells, IEEE Trans. Pattern Analysis and Machine Intelligence 8 (1986) 234.
 */
export function gaussianBlur(
  picture: Float32Array,
  shape: Shape,
  sigmaPx: number,
  usePx?: Uint8Array,
): Float32Array {
  checkShape(picture, shape);
  if (!usePx) return blurOfAll(picture, shape, sigmaPx);
  checkShape(usePx, shape);
  const weighted = new Float32Array(picture.length);
  const weight = new Float32Array(picture.length);
  let count = 0;
  for (let i = 0; i < picture.length; i++) {
    if (usePx[i] !== 1) continue;
    weighted[i] = picture[i]!;
    weight[i] = 1;
    count++;
  }
  if (count === picture.length) return blurOfAll(weighted, shape, sigmaPx);
  const radii = boxRadii(sigmaPx);
  boxBlurs(weighted, shape, radii);
  boxBlurs(weight, shape, radii);
  for (let i = 0; i < weighted.length; i++) weighted[i] = weight[i]! > 1e-6 ? weighted[i]! / weight[i]! : 0;
  return weighted;
}

/** What reaches over the edge weighs nothing: of all pixels, a product of a share for the column and one for the row. */
function blurOfAll(picture: Float32Array, shape: Shape, sigmaPx: number): Float32Array {
  const { widthPx, heightPx } = shape;
  const blurred = picture.slice();
  const radii = boxRadii(sigmaPx);
  boxBlurs(blurred, shape, radii);
  const across = blurredLine(widthPx, radii);
  const down = blurredLine(heightPx, radii);
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) blurred[y * widthPx + x]! /= across[x]! * down[y]!;
  return blurred;
}

function blurredLine(lengthPx: number, radii: readonly number[]): Float32Array {
  const shape = { widthPx: lengthPx, heightPx: 1 };
  let line: Float32Array = new Float32Array(lengthPx).fill(1);
  for (const radius of radii) {
    const blurred = new Float32Array(lengthPx);
    boxAlongRows(line, blurred, shape, radius);
    line = blurred;
  }
  return line;
}

/** Radii of three boxes whose variances add up to sigma². */
function boxRadii(sigmaPx: number): number[] {
  const ideal = Math.sqrt(4 * sigmaPx * sigmaPx + 1);
  const lower = Math.floor((ideal - 1) / 2);
  const small =
    (12 * sigmaPx ** 2 - 3 * (2 * lower + 1) ** 2 - 12 * (2 * lower + 1) - 9) / (-4 * (2 * lower + 1) - 4);
  const smallCount = Math.max(0, Math.min(3, Math.round(small)));
  return [0, 1, 2].map((k) => (k < smallCount ? lower : lower + 1));
}
