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
  for (let i = 0; i < picture.length; i++) {
    if (usePx[i] !== 1) continue;
    weighted[i] = picture[i]!;
    weight[i] = 1;
  }
  const radii = boxRadii(sigmaPx);
  const scratch = new Float32Array(picture.length);
  for (const radius of radii) {
    boxBlur(weighted, scratch, shape, radius);
    boxBlur(weight, scratch, shape, radius);
  }
  for (let i = 0; i < weighted.length; i++) weighted[i] = weight[i]! > 1e-6 ? weighted[i]! / weight[i]! : 0;
  return weighted;
}

/** What reaches over the edge weighs nothing: of all pixels, a product of a share for the column and one for the row. */
function blurOfAll(picture: Float32Array, shape: Shape, sigmaPx: number): Float32Array {
  const { widthPx, heightPx } = shape;
  const blurred = picture.slice();
  const scratch = new Float32Array(picture.length);
  let across: Float32Array = new Float32Array(widthPx).fill(1);
  let down: Float32Array = new Float32Array(heightPx).fill(1);
  for (const radius of boxRadii(sigmaPx)) {
    boxBlur(blurred, scratch, shape, radius);
    across = blurredLine(across, radius);
    down = blurredLine(down, radius);
  }
  for (let y = 0; y < heightPx; y++)
    for (let x = 0; x < widthPx; x++) blurred[y * widthPx + x]! /= across[x]! * down[y]!;
  return blurred;
}

function blurredLine(line: Float32Array, radius: number): Float32Array {
  const blurred = new Float32Array(line.length);
  alongRows(line, blurred, { widthPx: line.length, heightPx: 1 }, radius);
  return blurred;
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

/** In place: along the rows, then along the columns. Outside the frame there is nothing. */
function boxBlur(picture: Float32Array, scratch: Float32Array, shape: Shape, radius: number): void {
  alongRows(picture, scratch, shape, radius);
  alongColumns(scratch, picture, shape, radius);
}

function alongRows(from: Float32Array, into: Float32Array, shape: Shape, radius: number): void {
  const { widthPx, heightPx } = shape;
  const norm = 1 / (2 * radius + 1);
  for (let y = 0; y < heightPx; y++) {
    const row = y * widthPx;
    let sum = 0;
    for (let x = 0; x < Math.min(radius, widthPx); x++) sum += from[row + x]!;
    for (let x = 0; x < widthPx; x++) {
      if (x + radius < widthPx) sum += from[row + x + radius]!;
      if (x - radius - 1 >= 0) sum -= from[row + x - radius - 1]!;
      into[row + x] = sum * norm;
    }
  }
}

function alongColumns(from: Float32Array, into: Float32Array, shape: Shape, radius: number): void {
  const { widthPx, heightPx } = shape;
  const norm = 1 / (2 * radius + 1);
  const sums = new Float64Array(widthPx);
  for (let y = 0; y < Math.min(radius, heightPx); y++)
    for (let x = 0; x < widthPx; x++) sums[x]! += from[y * widthPx + x]!;
  for (let y = 0; y < heightPx; y++) {
    const enters = (y + radius) * widthPx;
    const leaves = (y - radius - 1) * widthPx;
    if (y + radius < heightPx) for (let x = 0; x < widthPx; x++) sums[x]! += from[enters + x]!;
    if (y - radius - 1 >= 0) for (let x = 0; x < widthPx; x++) sums[x]! -= from[leaves + x]!;
    for (let x = 0; x < widthPx; x++) into[y * widthPx + x] = sums[x]! * norm;
  }
}
