/**
 * Byte swapping on 32-bit words, for every FITS pixel type. All loops see only Uint32Array: a loop that
 * meets a second typed-array type is compiled for both and becomes many times slower.
 * The host is little-endian (all of Bun's platforms are).
 */

/** Swaps the two bytes of each 16-bit half, then flips bits by `flip`. */
function swapHalves(from: Uint32Array, into: Uint32Array, wordCount: number, flip: number): void {
  for (let i = 0; i < wordCount; i++) {
    const w = from[i]!;
    into[i] = (((w & 0x00ff00ff) << 8) | ((w >>> 8) & 0x00ff00ff)) ^ flip;
  }
}

/** Reverses the four bytes of each word, then flips bits by `flip`. */
function swapWords(from: Uint32Array, into: Uint32Array, wordCount: number, flip: number): void {
  for (let i = 0; i < wordCount; i++) {
    const w = from[i]!;
    into[i] = ((w << 24) | ((w & 0xff00) << 8) | ((w >>> 8) & 0xff00) | (w >>> 24)) ^ flip;
  }
}

/** Reverses the eight bytes of each pair of words. */
function swapPairs(from: Uint32Array, into: Uint32Array, wordCount: number): void {
  for (let i = 0; i < wordCount; i += 2) {
    const low = from[i]!;
    const high = from[i + 1]!;
    into[i] = (high << 24) | ((high & 0xff00) << 8) | ((high >>> 8) & 0xff00) | (high >>> 24);
    into[i + 1] = (low << 24) | ((low & 0xff00) << 8) | ((low >>> 8) & 0xff00) | (low >>> 24);
  }
}

/** How the sign bit of an unsigned integer is stored; FITS integers of 16 and 32 bits are signed. */
export type SignFlip = "keep" | "flip";

/**
 * Copies big-endian pixels to native order.
 * @param from exactly the pixels' bytes, at any alignment
 * @param into at least as long, starting on a multiple of 4 bytes; may be the same bytes
 */
export function toNative(
  from: Uint8Array,
  into: Uint8Array,
  bytesPerPixel: 1 | 2 | 4 | 8,
  sign: SignFlip,
): void {
  // After the swap the sign bit is the top bit of each half or word.
  convert(from, into, bytesPerPixel, sign === "keep" ? 0 : bytesPerPixel === 2 ? 0x80008000 : 0x80000000);
}

/** The same from native to big-endian. */
export function toBigEndian(
  from: Uint8Array,
  into: Uint8Array,
  bytesPerPixel: 1 | 2 | 4 | 8,
  sign: SignFlip,
): void {
  // After the swap the sign bit is the top bit of each first byte.
  convert(from, into, bytesPerPixel, sign === "keep" ? 0 : bytesPerPixel === 2 ? 0x00800080 : 0x00000080);
}

function convert(from: Uint8Array, into: Uint8Array, bytesPerPixel: 1 | 2 | 4 | 8, flip: number): void {
  if (into.length < from.length || into.byteOffset % 4 !== 0) {
    throw new RangeError("Pixels need a target of the same length on a multiple of 4 bytes");
  }
  if (bytesPerPixel === 1) {
    if (into.buffer !== from.buffer || into.byteOffset !== from.byteOffset) into.set(from);
    return;
  }
  const wordCount = from.length >>> 2;
  const aligned = from.byteOffset % 4 === 0 ? from : from.slice();
  const source = new Uint32Array(aligned.buffer, aligned.byteOffset, wordCount);
  const target = new Uint32Array(into.buffer, into.byteOffset, wordCount);
  if (bytesPerPixel === 2) {
    swapHalves(source, target, wordCount, flip);
    if (from.length % 4 === 2) {
      const last = wordCount * 4;
      const first = from[last]!; // kept, as source and target may be the same bytes
      into[last] = from[last + 1]! ^ (flip & 0xff);
      into[last + 1] = first ^ ((flip >>> 8) & 0xff);
    }
  } else if (bytesPerPixel === 4) {
    swapWords(source, target, wordCount, flip);
  } else {
    swapPairs(source, target, wordCount);
  }
}
