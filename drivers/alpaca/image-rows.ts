/**
 * The protocol sends images column by column; everything of ours is row by row. Each function turns one kind of
 * array in one pass: eight columns at a time down a band of rows whose lines stay in the processor's cache.
 *
 * There is one function for each array type on purpose: a compiled loop that meets a second type runs many times
 * slower from then on. The eight steps are written out because a loop over them takes half as long again.
 */

export interface ImageSize {
  readonly widthPx: number;
  readonly heightPx: number;
}

const bandPx = 128;

type Six = [number, number, number, number, number, number];

/**
 * @param columns pixel (x, y) at x · heightPx + y
 * @param rows where pixel (x, y) goes to y · widthPx + x; as long as `columns`
 * @returns all pixels or-ed together: a set bit above the lowest 16, or the sign, shows a pixel that does not fit
 */
export function rowsFromInt32(columns: Int32Array, rows: Uint16Array, size: ImageSize): number {
  const { widthPx, heightPx } = size;
  const [h2, h3, h4, h5, h6, h7] = [2, 3, 4, 5, 6, 7].map((n) => n * heightPx) as Six;
  let seen = 0;
  for (let top = 0; top < heightPx; top += bandPx) {
    const bottom = Math.min(heightPx, top + bandPx);
    let x = 0;
    for (; x + 8 <= widthPx; x += 8) {
      let from = x * heightPx + top;
      let to = top * widthPx + x;
      for (let y = top; y < bottom; y++) {
        const p0 = columns[from]!;
        const p1 = columns[from + heightPx]!;
        const p2 = columns[from + h2]!;
        const p3 = columns[from + h3]!;
        const p4 = columns[from + h4]!;
        const p5 = columns[from + h5]!;
        const p6 = columns[from + h6]!;
        const p7 = columns[from + h7]!;
        seen |= p0 | p1 | p2 | p3 | p4 | p5 | p6 | p7;
        rows[to] = p0;
        rows[to + 1] = p1;
        rows[to + 2] = p2;
        rows[to + 3] = p3;
        rows[to + 4] = p4;
        rows[to + 5] = p5;
        rows[to + 6] = p6;
        rows[to + 7] = p7;
        from++;
        to += widthPx;
      }
    }
    for (; x < widthPx; x++) {
      for (let y = top; y < bottom; y++) {
        const pixel = columns[x * heightPx + y]!;
        seen |= pixel;
        rows[y * widthPx + x] = pixel;
      }
    }
  }
  return seen;
}

/** The same for 16 bits; signed ones keep their bits, and bit 15 of the result shows that there was one below 0. */
export function rowsFromUint16(columns: Uint16Array, rows: Uint16Array, size: ImageSize): number {
  const { widthPx, heightPx } = size;
  const [h2, h3, h4, h5, h6, h7] = [2, 3, 4, 5, 6, 7].map((n) => n * heightPx) as Six;
  let seen = 0;
  for (let top = 0; top < heightPx; top += bandPx) {
    const bottom = Math.min(heightPx, top + bandPx);
    let x = 0;
    for (; x + 8 <= widthPx; x += 8) {
      let from = x * heightPx + top;
      let to = top * widthPx + x;
      for (let y = top; y < bottom; y++) {
        const p0 = columns[from]!;
        const p1 = columns[from + heightPx]!;
        const p2 = columns[from + h2]!;
        const p3 = columns[from + h3]!;
        const p4 = columns[from + h4]!;
        const p5 = columns[from + h5]!;
        const p6 = columns[from + h6]!;
        const p7 = columns[from + h7]!;
        seen |= p0 | p1 | p2 | p3 | p4 | p5 | p6 | p7;
        rows[to] = p0;
        rows[to + 1] = p1;
        rows[to + 2] = p2;
        rows[to + 3] = p3;
        rows[to + 4] = p4;
        rows[to + 5] = p5;
        rows[to + 6] = p6;
        rows[to + 7] = p7;
        from++;
        to += widthPx;
      }
    }
    for (; x < widthPx; x++) {
      for (let y = top; y < bottom; y++) {
        const pixel = columns[x * heightPx + y]!;
        seen |= pixel;
        rows[y * widthPx + x] = pixel;
      }
    }
  }
  return seen;
}

/** The same for bytes, which always fit. */
export function rowsFromUint8(columns: Uint8Array, rows: Uint16Array, size: ImageSize): void {
  const { widthPx, heightPx } = size;
  const [h2, h3, h4, h5, h6, h7] = [2, 3, 4, 5, 6, 7].map((n) => n * heightPx) as Six;
  for (let top = 0; top < heightPx; top += bandPx) {
    const bottom = Math.min(heightPx, top + bandPx);
    let x = 0;
    for (; x + 8 <= widthPx; x += 8) {
      let from = x * heightPx + top;
      let to = top * widthPx + x;
      for (let y = top; y < bottom; y++) {
        const p0 = columns[from]!;
        const p1 = columns[from + heightPx]!;
        const p2 = columns[from + h2]!;
        const p3 = columns[from + h3]!;
        const p4 = columns[from + h4]!;
        const p5 = columns[from + h5]!;
        const p6 = columns[from + h6]!;
        const p7 = columns[from + h7]!;
        rows[to] = p0;
        rows[to + 1] = p1;
        rows[to + 2] = p2;
        rows[to + 3] = p3;
        rows[to + 4] = p4;
        rows[to + 5] = p5;
        rows[to + 6] = p6;
        rows[to + 7] = p7;
        from++;
        to += widthPx;
      }
    }
    for (; x < widthPx; x++) {
      for (let y = top; y < bottom; y++) {
        const pixel = columns[x * heightPx + y]!;
        rows[y * widthPx + x] = pixel;
      }
    }
  }
}
