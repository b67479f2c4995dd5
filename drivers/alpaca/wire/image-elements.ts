import { SpareMemory } from "../../kit/spare-memory.ts";
import { type ImageSize, turnToRows } from "./image-rows.ts";

/** The element types of an image on the wire (API reference, ImageBytes; 0 is "unknown" and never sent). */
export const elementTypes = {
  1: { name: "Int16", bytes: 2 },
  2: { name: "Int32", bytes: 4 },
  3: { name: "Double", bytes: 8 },
  4: { name: "Single", bytes: 4 },
  5: { name: "UInt64", bytes: 8 },
  6: { name: "Byte", bytes: 1 },
  7: { name: "Int64", bytes: 8 },
  8: { name: "UInt16", bytes: 2 },
  9: { name: "UInt32", bytes: 4 },
} as const;

export type ElementType = keyof typeof elementTypes;

/** A pixel that 16 unsigned bits cannot hold: below 0, above 65535, or no whole number. */
export class PixelRangeError extends Error {
  override readonly name = "PixelRangeError";
}

export interface RowsInto {
  /**
   * The largest count that the camera says it gives: above 32767, signed 16-bit pixels below 0 are counts whose type
   * was misnamed (from memory: seen of some devices).
   */
  readonly maxAdu: number;
  /** Where room for the rows comes from. */
  readonly memory?: SpareMemory;
}

/**
 * Columns of any element type to rows of 16 bits.
 * @param bytes exactly the pixels, little-endian as the host is
 * @throws PixelRangeError rather than a wrong picture
 */
export function rowsOf(
  bytes: Uint8Array,
  type: ElementType,
  size: ImageSize,
  { maxAdu, memory = new SpareMemory() }: RowsInto,
): Uint16Array {
  const count = size.widthPx * size.heightPx;
  const rows = new Uint16Array(memory.take(2 * count).buffer, 0, count);
  const aligned = () => alignedTo(elementTypes[type].bytes, bytes);
  switch (type) {
    case 6:
      turnToRows(bytes, 1, rows, size);
      return rows;
    case 8:
      turnToRows(bytes, 2, rows, size);
      return rows;
    case 1: {
      const seen = turnToRows(bytes, 2, rows, size);
      if ((seen & 0x8000_8000) !== 0 && !(maxAdu > 32767)) throw outOfRange();
      return rows;
    }
    case 2:
    case 9:
      return checkedRows(bytes, rows, size);
    case 5:
    case 7: {
      const { buffer, byteOffset } = aligned();
      return checkedRows(bytesOf(lowWords(new Int32Array(buffer, byteOffset, 2 * count))), rows, size);
    }
    case 4: {
      const { buffer, byteOffset } = aligned();
      return checkedRows(bytesOf(wholeOfSingles(new Float32Array(buffer, byteOffset, count))), rows, size);
    }
    case 3: {
      const { buffer, byteOffset } = aligned();
      return checkedRows(bytesOf(wholeOfDoubles(new Float64Array(buffer, byteOffset, count))), rows, size);
    }
  }
}

/** A typed array must begin at a multiple of its element's size. */
function alignedTo(elementBytes: number, bytes: Uint8Array): Pick<Uint8Array, "buffer" | "byteOffset"> {
  return bytes.byteOffset % elementBytes === 0 ? bytes : bytes.slice();
}

function bytesOf({ buffer, byteLength }: Int32Array): Uint8Array {
  return new Uint8Array(buffer, 0, byteLength);
}

/** @param columns 32-bit pixels */
function checkedRows(columns: Uint8Array, rows: Uint16Array, size: ImageSize): Uint16Array {
  if ((turnToRows(columns, 4, rows, size) & ~0xffff) !== 0) throw outOfRange();
  return rows;
}

function lowWords(halves: Int32Array): Int32Array {
  const low = new Int32Array(halves.length / 2);
  let high = 0;
  for (let i = 0; i < low.length; i++) {
    low[i] = halves[2 * i]!;
    high |= halves[2 * i + 1]!;
  }
  if (high !== 0) throw outOfRange();
  return low;
}

function wholeOfSingles(pixels: Float32Array): Int32Array {
  const whole = new Int32Array(pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    const pixel = pixels[i]!;
    whole[i] = pixel;
    if (whole[i] !== pixel) throw outOfRange(pixel);
  }
  return whole;
}

function wholeOfDoubles(pixels: Float64Array): Int32Array {
  const whole = new Int32Array(pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    const pixel = pixels[i]!;
    whole[i] = pixel;
    if (whole[i] !== pixel) throw outOfRange(pixel);
  }
  return whole;
}

function outOfRange(pixel?: number): PixelRangeError {
  const found = pixel === undefined ? "pixels" : `a pixel of ${pixel}`;
  return new PixelRangeError(`${found} outside the whole numbers 0 to 65535`);
}
