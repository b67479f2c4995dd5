import { selectInPlace } from "../numerics/order-statistics.ts";

/**
 * One sigma of a pixel, from the differences of neighbours in a row: blind to slow unevenness, and to a Sun's disc.
 * Median of their absolute values over 0.6745 √2, so that edges, dust and hot pixels do not count.
 * @param usePx 1 where a pixel counts
 * @returns in the unit of the picture; `undefined` when no two neighbours count
 */
export function neighbourNoise(
  picture: Float32Array,
  usePx: Uint8Array,
  widthPx: number,
): number | undefined {
  const every = Math.max(1, Math.floor(picture.length / 200_000)) | 1; // odd, so that it drifts over the columns
  const found = new Float64Array(Math.ceil(picture.length / every));
  let count = 0;
  for (let i = 0; i + 1 < picture.length; i += every) {
    if ((i + 1) % widthPx === 0 || usePx[i] !== 1 || usePx[i + 1] !== 1) continue;
    const difference = Math.abs(picture[i]! - picture[i + 1]!);
    if (!Number.isNaN(difference)) found[count++] = difference;
  }
  if (count === 0) return undefined;
  return selectInPlace(found, count >> 1, count) / (0.67449 * Math.SQRT2);
}
