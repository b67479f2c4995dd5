/**
 * The protocol sends images column by column; everything of ours is row by row. Each function turns one kind of
 * array in one pass, in blocks whose lines stay in the processor's cache.
 *
 * There is one function for each array type on purpose: a compiled loop that meets a second type runs many times
 * slower from then on.
 */

export interface ImageSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

const blockWidthPx = 16;
const blockHeightPx = 512;

/**
 * @param columns pixel (x, y) at x · heightPx + y
 * @param rows where pixel (x, y) goes to y · widthPx + x; as long as `columns`
 * @returns all pixels or-ed together: a set bit above the lowest 16, or the sign, shows a pixel that does not fit
 */
export function rowsFromInt32(columns: Int32Array, rows: Uint16Array, size: ImageSize): number {
  const { widthPx, heightPx } = size;
  let seen = 0;
  for (let top = 0; top < heightPx; top += blockHeightPx) {
    const bottom = Math.min(heightPx, top + blockHeightPx);
    for (let left = 0; left < widthPx; left += blockWidthPx) {
      const right = Math.min(widthPx, left + blockWidthPx);
      for (let y = top; y < bottom; y++) {
        const row = y * widthPx;
        let from = left * heightPx + y;
        for (let x = left; x < right; x++) {
          const pixel = columns[from]!;
          seen |= pixel;
          rows[row + x] = pixel;
          from += heightPx;
        }
      }
    }
  }
  return seen;
}

/** The same for 16 bits; signed ones keep their bits, and bit 15 of the result shows that there was one below 0. */
export function rowsFromUint16(columns: Uint16Array, rows: Uint16Array, size: ImageSize): number {
  const { widthPx, heightPx } = size;
  let seen = 0;
  for (let top = 0; top < heightPx; top += blockHeightPx) {
    const bottom = Math.min(heightPx, top + blockHeightPx);
    for (let left = 0; left < widthPx; left += blockWidthPx) {
      const right = Math.min(widthPx, left + blockWidthPx);
      for (let y = top; y < bottom; y++) {
        const row = y * widthPx;
        let from = left * heightPx + y;
        for (let x = left; x < right; x++) {
          const pixel = columns[from]!;
          seen |= pixel;
          rows[row + x] = pixel;
          from += heightPx;
        }
      }
    }
  }
  return seen;
}

/** The same for bytes, which always fit. */
export function rowsFromUint8(columns: Uint8Array, rows: Uint16Array, size: ImageSize): number {
  const { widthPx, heightPx } = size;
  for (let top = 0; top < heightPx; top += blockHeightPx) {
    const bottom = Math.min(heightPx, top + blockHeightPx);
    for (let left = 0; left < widthPx; left += blockWidthPx) {
      const right = Math.min(widthPx, left + blockWidthPx);
      for (let y = top; y < bottom; y++) {
        const row = y * widthPx;
        let from = left * heightPx + y;
        for (let x = left; x < right; x++) {
          rows[row + x] = columns[from]!;
          from += heightPx;
        }
      }
    }
  }
  return 0;
}
