import { checkShape, type Shape } from "../numerics/shape.ts";

/** About so many blocks; no fewer pixels a side than the least. */
const blocksUsual = 600;
const sidePxLeast = 8;

/**
 * Means of blocks of a frame above the dark, over full scale.
 * @param usePx 0 where a pixel is not to be used; left out: all of them
 * @returns row-major; NaN where a pixel is clipped or half of the block is not to be used
 */
export function blockLevels(
  pixelsAdu: Uint16Array,
  darkAdu: Float32Array,
  shape: Shape,
  { topAdu, unhealthyPx }: { readonly topAdu: number; readonly unhealthyPx?: Uint8Array },
): Float64Array {
  checkShape(pixelsAdu, shape);
  const { widthPx, heightPx } = shape;
  const sidePx = Math.max(sidePxLeast, Math.round(Math.sqrt((widthPx * heightPx) / blocksUsual)));
  const columns = Math.max(1, Math.floor(widthPx / sidePx));
  const levels = new Float64Array(columns * Math.max(1, Math.floor(heightPx / sidePx)));
  for (let b = 0; b < levels.length; b++) {
    const [left, top] = [(b % columns) * sidePx, Math.floor(b / columns) * sidePx];
    let [sum, count] = [0, 0];
    for (let y = top; y < Math.min(heightPx, top + sidePx); y++)
      for (let i = y * widthPx + left; i < y * widthPx + Math.min(widthPx, left + sidePx); i++) {
        if (unhealthyPx?.[i] === 1) continue;
        if (pixelsAdu[i]! >= topAdu) sum = Number.NaN;
        sum += pixelsAdu[i]! - darkAdu[i]!;
        count++;
      }
    levels[b] = 2 * count >= sidePx * sidePx ? sum / count / topAdu : Number.NaN;
  }
  return levels;
}
