import { type Kernel, layout, startKernel, u8, u16 } from "../../kit/kernels/host.ts";

export interface ImageSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

export type PixelBytes = 1 | 2 | 4;

/** Most rows of a block of eight columns. */
const bandPx = 512;
const columnsAtOnce = 8;
/** The kernel's: how far columns lie apart. */
const columnPitchBytes = 4 * bandPx;

/** Made with the first image; the memory grows with the images. */
let made: { readonly memory: WebAssembly.Memory; readonly kernel: Kernel<"image-turning"> } | undefined;

function startTurning() {
  const memory = new WebAssembly.Memory({ initial: 1 });
  return { memory, kernel: startKernel("image-turning", memory) };
}

/**
 * The protocol sends images column by column; everything of ours is row by row. A band of rows is turned at a time, by
 * SIMD in WebAssembly: a compiled loop of the runtime takes twice as long.
 * @param columns little-endian pixels at any place in memory: (x, y) is the one numbered x · heightPx + y
 * @param rows where pixel (x, y) goes to y · widthPx + x; if `columns` has wider pixels, their lowest 16 bits
 * @returns all pixels or-ed together: for wide ones a set bit above the lowest 16, or the sign, shows one that does not fit
 */
export function turnToRows(
  columns: Uint8Array,
  bytesPerPixel: PixelBytes,
  rows: Uint16Array,
  { widthPx, heightPx }: ImageSize,
): number {
  made ??= startTurning();
  const { memory, kernel } = made;
  const turn = { 1: kernel.turnBytes, 2: kernel.turnHalves, 4: kernel.turnWords }[bytesPerPixel];
  // The last block of columns may reach beyond the row's end.
  const stridePx = columnsAtOnce * Math.ceil(widthPx / columnsAtOnce);
  const { at, views, bytes } = layout(
    { columns: u8(columnsAtOnce * columnPitchBytes), rows: u16(bandPx * stridePx) },
    memory,
  );
  const source = Buffer.from(columns.buffer, columns.byteOffset, columns.byteLength);

  let seen = 0;
  for (let top = 0; top < heightPx; top += bandPx) {
    const rowCount = Math.min(bandPx, heightPx - top);
    // Whole groups of eight are turned: what is there beside the image's own pixels must not be seen.
    if (rowCount % 8 !== 0) views.columns.fill(0);
    for (let left = 0; left < widthPx; left += columnsAtOnce) {
      const columnCount = Math.min(columnsAtOnce, widthPx - left);
      if (columnCount < columnsAtOnce) views.columns.fill(0);
      for (let k = 0; k < columnCount; k++) {
        const from = ((left + k) * heightPx + top) * bytesPerPixel;
        source.copy(bytes, at.columns + k * columnPitchBytes, from, from + rowCount * bytesPerPixel);
      }
      seen |= turn(at.columns, 8 * Math.ceil(rowCount / 8), at.rows + 2 * left, 2 * stridePx);
    }
    copyBand(views.rows, stridePx, rows, { top, rowCount, widthPx });
  }
  return seen;
}

function copyBand(
  words: Uint16Array,
  stridePx: number,
  rows: Uint16Array,
  { top, rowCount, widthPx }: { top: number; rowCount: number; widthPx: number },
): void {
  if (stridePx === widthPx) {
    rows.set(words.subarray(0, rowCount * widthPx), top * widthPx);
    return;
  }
  for (let y = 0; y < rowCount; y++) {
    const from = y * stridePx;
    rows.set(words.subarray(from, from + widthPx), (top + y) * widthPx);
  }
}
