import {
  bandPx,
  columnPitchBytes,
  columnsAtOnce,
  type PixelBytes,
  rowsStart,
  turnModule,
} from "./turn-module.ts";

export interface ImageSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

const pageBytes = 65536;

/**
 * The protocol sends images column by column; everything of ours is row by row. A band of rows is turned at a time, by
 * SIMD in WebAssembly: a compiled loop of the runtime takes twice as long.
 * @param columns little-endian pixels at any place in memory: (x, y) is the one numbered x · heightPx + y
 * @param rows where pixel (x, y) goes to y · widthPx + x; if `columns` has wider pixels, their lowest 16 bits
 * @returns all pixels or-ed together: for wide ones a set bit above the lowest 16, or the sign, shows one that does not fit
 */
export function toRows(
  columns: Uint8Array,
  bytesPerPixel: PixelBytes,
  rows: Uint16Array,
  { widthPx, heightPx }: ImageSize,
): number {
  const { memory, turn } = turnModule();
  // The last block of columns may reach beyond the row's end.
  const strideBytes = 2 * columnsAtOnce * Math.ceil(widthPx / columnsAtOnce);
  const missingBytes = rowsStart + bandPx * strideBytes - memory.buffer.byteLength;
  if (missingBytes > 0) memory.grow(Math.ceil(missingBytes / pageBytes));
  const source = Buffer.from(columns.buffer, columns.byteOffset, columns.byteLength);
  const bytes = new Uint8Array(memory.buffer);
  const words = new Uint16Array(memory.buffer);

  let seen = 0;
  for (let top = 0; top < heightPx; top += bandPx) {
    const rowCount = Math.min(bandPx, heightPx - top);
    // Whole groups of eight are turned: what is there beside the image's own pixels must not be seen.
    if (rowCount % 8 !== 0) bytes.fill(0, 0, rowsStart);
    for (let left = 0; left < widthPx; left += columnsAtOnce) {
      const columnCount = Math.min(columnsAtOnce, widthPx - left);
      if (columnCount < columnsAtOnce) bytes.fill(0, 0, rowsStart);
      for (let k = 0; k < columnCount; k++) {
        const from = ((left + k) * heightPx + top) * bytesPerPixel;
        source.copy(bytes, k * columnPitchBytes, from, from + rowCount * bytesPerPixel);
      }
      seen |= turn[bytesPerPixel](8 * Math.ceil(rowCount / 8), rowsStart + 2 * left, strideBytes);
    }
    copyBand(words, strideBytes / 2, rows, { top, rowCount, widthPx });
  }
  return seen;
}

function copyBand(
  words: Uint16Array,
  stridePx: number,
  rows: Uint16Array,
  { top, rowCount, widthPx }: { top: number; rowCount: number; widthPx: number },
): void {
  const start = rowsStart / 2;
  if (stridePx === widthPx) {
    rows.set(words.subarray(start, start + rowCount * widthPx), top * widthPx);
    return;
  }
  for (let y = 0; y < rowCount; y++) {
    const from = start + y * stridePx;
    rows.set(words.subarray(from, from + widthPx), (top + y) * widthPx);
  }
}
