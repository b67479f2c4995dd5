import { HcompressBits } from "./hcompress-bits.ts";

/**
 * HCOMPRESS_1: the H-transform, a two-dimensional Haar transform, with its coefficients coded bit plane by bit plane as
 * quadtrees. Source: FITS Standard 4.0, section 10.4.4 (White, Postman and Lattanzi 1992).
 * @returns row-major values of one tile
 * @throws RangeError if the bytes are none of it, or end too early
 */
export function hcompressValues(bytes: Uint8Array, count: number): Float64Array {
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.length);
  if (view.getUint16(0) !== 0xdd99) throw new RangeError("a tile does not begin as HCOMPRESS_1 does");
  const [rows, columns, scale] = [view.getInt32(2), view.getInt32(6), view.getInt32(10)];
  if (rows * columns !== count) throw new RangeError(`a tile of ${rows} x ${columns} px instead of ${count}`);
  const values = new Float64Array(count);
  const bits = new HcompressBits(bytes, 25);
  const [halfRows, halfColumns] = [(rows + 1) >> 1, (columns + 1) >> 1];
  const quadrants = [
    { start: 0, rows: halfRows, columns: halfColumns, planes: bytes[22]! },
    { start: halfColumns, rows: halfRows, columns: columns >> 1, planes: bytes[23]! },
    { start: columns * halfRows, rows: rows >> 1, columns: halfColumns, planes: bytes[23]! },
    { start: columns * halfRows + halfColumns, rows: rows >> 1, columns: columns >> 1, planes: bytes[24]! },
  ];
  for (const { planes, ...quadrant } of quadrants)
    for (let plane = planes - 1; plane >= 0; plane--) addPlane(bits, values, quadrant, columns, 2 ** plane);
  if (bits.nibble() !== 0) throw new RangeError("a tile of HCOMPRESS_1 has no end where it should");
  bits.alignToByte();
  for (let i = 0; i < count; i++) if (values[i] !== 0 && bits.bit() === 1) values[i]! *= -1;
  values[0] = Number(view.getBigInt64(14));
  if (scale > 1) for (let i = 0; i < count; i++) values[i]! *= scale;
  invert(values, rows, columns);
  return values;
}

interface Quadrant {
  readonly start: number;
  readonly rows: number;
  readonly columns: number;
}

/** One bit of every coefficient: as a quadtree, or as it is where that was shorter. */
function addPlane(
  bits: HcompressBits,
  values: Float64Array,
  { start, rows, columns }: Quadrant,
  strideValues: number,
  weight: number,
): void {
  const [halfRows, halfColumns] = [(rows + 1) >> 1, (columns + 1) >> 1];
  const kind = bits.nibble();
  if (kind !== 0 && kind !== 15) throw new RangeError("a bit plane of HCOMPRESS_1 is of no known kind");
  const codes =
    kind === 0
      ? Uint8Array.from({ length: halfRows * halfColumns }, () => bits.nibble())
      : quadtreeCodes(bits, rows, columns);
  forEachBit(codes, rows, columns, (row, column, bit) => {
    if (bit) values[start + row * strideValues + column]! += weight;
  });
}

/** @returns four bits for each square of 2 x 2 values */
function quadtreeCodes(bits: HcompressBits, rows: number, columns: number): Uint8Array {
  const levels = log2Above(Math.max(rows, columns));
  if (levels === 0) return new Uint8Array(rows * columns).fill(bits.quad());
  let codes = new Uint8Array([bits.quad()]);
  for (let level = levels - 1; level >= 1; level--) {
    // Squares of this level: the frame halved as often as there are levels below, rounded up.
    const [highRows, highColumns] = [Math.ceil(rows / 2 ** level), Math.ceil(columns / 2 ** level)];
    const next = new Uint8Array(highRows * highColumns);
    forEachBit(codes, highRows, highColumns, (row, column, bit) => {
      next[row * highColumns + column] = bit;
    });
    // Coded from the last to the first.
    for (let i = next.length - 1; i >= 0; i--) if (next[i] !== 0) next[i] = bits.quad();
    codes = next;
  }
  return codes;
}

/** Four bits of a code in their places: 8 and 4 above, 2 and 1 below. */
function forEachBit(
  codes: Uint8Array,
  rows: number,
  columns: number,
  visit: (row: number, column: number, bit: 0 | 1) => void,
): void {
  const codeColumns = (columns + 1) >> 1;
  for (let row = 0; row < rows; row++)
    for (let column = 0; column < columns; column++) {
      const code = codes[(row >> 1) * codeColumns + (column >> 1)]!;
      visit(row, column, ((code >> (3 - 2 * (row & 1) - (column & 1))) & 1) as 0 | 1);
    }
}

function log2Above(length: number): number {
  return Math.ceil(Math.log2(length));
}

/** The inverse of the transform, from the coarsest level to the pixels. */
function invert(values: Float64Array, rows: number, columns: number): void {
  const levels = log2Above(Math.max(rows, columns));
  const buffer = new Float64Array(Math.max(rows, columns));
  if (levels > 0) values[0] = rounded(values[0]!, 2 ** (levels + 1), 0);
  for (let level = levels - 1; level >= 0; level--) {
    const [highRows, highColumns] = [Math.ceil(rows / 2 ** level), Math.ceil(columns / 2 ** level)];
    for (let row = 0; row < highRows; row++) interleave(values, row * columns, 1, highColumns, buffer);
    for (let column = 0; column < highColumns; column++)
      interleave(values, column, columns, highRows, buffer);
    combineSquares(values, { rows: highRows, columns: highColumns, stride: columns }, level);
  }
}

/** The first half of a line goes to its even places, the second to its odd ones. */
function interleave(
  values: Float64Array,
  start: number,
  step: number,
  count: number,
  buffer: Float64Array,
): void {
  const half = (count + 1) >> 1;
  for (let i = 0; i < count; i++) buffer[i] = values[start + i * step]!;
  for (let i = 0; i < count; i++) values[start + i * step] = buffer[i & 1 ? half + (i >> 1) : i >> 1]!;
}

/** To a multiple of the unit; half-way ones upwards of 0 and, but at the last level, downwards below it. */
function rounded(value: number, unit: number, last: number): number {
  const half = Math.floor(unit / 2);
  const below = last ? 0 : half - 1;
  return Math.floor((value + (value >= 0 ? half : below)) / unit) * unit;
}

function lowBit(value: number, unit: number): number {
  return Math.abs(Math.floor(value / unit)) % 2;
}

function combineSquares(
  values: Float64Array,
  { rows, columns, stride }: { readonly rows: number; readonly columns: number; readonly stride: number },
  level: number,
): void {
  const unit = 2 ** level;
  const double = 2 * unit;
  const divisor = level === 0 ? 4 : 2;
  const store = (at: number, value: number) => {
    values[at] = Math.floor(value / divisor);
  };
  const isLast = level === 0 ? 1 : 0;
  const onePair = (a: number, b: number) => {
    const slope = rounded(values[b]!, double, 0);
    const low = lowBit(slope, double) * double;
    const mean = values[a]! + (values[a]! >= 0 ? -low : low);
    store(b, mean + slope);
    store(a, mean - slope);
  };
  for (let row = 0; row < rows; row += 2)
    for (let column = 0; column < columns; column += 2) {
      const a = row * stride + column;
      const [hasRight, hasBelow] = [column + 1 < columns, row + 1 < rows];
      if (!hasRight && !hasBelow) store(a, values[a]!);
      else if (!hasBelow) onePair(a, a + 1);
      else if (!hasRight) onePair(a, a + stride);
      else {
        const cross = rounded(values[a + stride + 1]!, unit, isLast);
        const lowCross = lowBit(cross, unit) * unit;
        const withLow = (value: number) => value + (value >= 0 ? -lowCross : lowCross);
        const down = withLow(rounded(values[a + stride]!, double, 0));
        const across = withLow(rounded(values[a + 1]!, double, 0));
        const odd = lowBit(cross, double) + lowBit(down, double) + lowBit(across, double);
        const low = (odd % 2) * double;
        const was = values[a]!;
        const mean = was >= 0 ? was + lowCross - low : was + (lowCross === 0 ? low : lowCross - low);
        store(a + stride + 1, mean + down + across + cross);
        store(a + stride, mean + down - across - cross);
        store(a + 1, mean - down + across - cross);
        store(a, mean - down - across + cross);
      }
    }
}
