import { byteKernel } from "./byte-order.ts";

/**
 * Sums of the FITS checksum convention: 32-bit ones' complement over big-endian words.
 * Source: FITS Standard 4.0, section 4.4.2.7 and appendix J (Seaman, Pence and Rots).
 */

const allOnes = 0xffffffff;

/** Ones' complement sum of two sums, each 0 to 2^32 - 1. */
export function addSums(a: number, b: number): number {
  const total = a + b;
  return total > allOnes ? total - allOnes : total;
}

/**
 * Sum of bytes as they lie in a data unit.
 * @param offsetBytes where they start in it; bytes elsewhere count as zero, so that parts may be summed
 *   in any order and added with `addSums`. 2^32 is 1 in this arithmetic, hence a shift is a rotation.
 */
export function sumOfBytes(bytes: Uint8Array, offsetBytes = 0): number {
  const { kernel, piece, pieceAt } = byteKernel();
  let sum = 0;
  for (let start = 0; start < bytes.length; start += piece.length) {
    const length = Math.min(piece.length, bytes.length - start);
    const padded = Math.ceil(length / 64) * 64;
    piece.set(length === bytes.length ? bytes : bytes.subarray(start, start + length));
    piece.fill(0, length, padded);
    const total = kernel.sumWords(pieceAt, padded);
    // Zero only for nothing but zeros; a multiple of 2^32 - 1 is all ones.
    sum = addSums(sum, total === 0 ? 0 : total % allOnes || allOnes);
  }
  const shift = (offsetBytes % 4) * 8;
  return shift === 0 ? sum : ((sum >>> shift) | (sum << (32 - shift))) >>> 0;
}

/** What must be added to a sum for all ones. */
export function complementOf(sum: number): number {
  return ~sum >>> 0;
}

/** The 16 characters of CHECKSUM that bring an HDU, summed with sixteen "0" in their place, to all ones. */
export function checksumText(hduSum: number): string {
  const complement = complementOf(hduSum);
  const columns: number[][] = [];
  for (let byteIndex = 0; byteIndex < 4; byteIndex++) {
    const byte = (complement >>> (24 - 8 * byteIndex)) & 0xff;
    const four = [0, 1, 2, 3].map(() => (byte >>> 2) + 48);
    four[0] = four[0]! + (byte & 3);
    // Punctuation is not allowed: raise one of a pair and lower the other.
    while (four.some(isPunctuation)) {
      for (const first of [0, 2]) {
        if (isPunctuation(four[first]!) || isPunctuation(four[first + 1]!)) {
          four[first] = four[first]! + 1;
          four[first + 1] = four[first + 1]! - 1;
        }
      }
    }
    columns.push(four);
  }
  let text = "";
  for (let row = 0; row < 4; row++) for (const four of columns) text += String.fromCharCode(four[row]!);
  return text.slice(-1) + text.slice(0, -1);
}

function isPunctuation(code: number): boolean {
  return (code >= 0x3a && code <= 0x40) || (code >= 0x5b && code <= 0x60);
}

/** Sum of pieces that lie one after another. */
export class RunningSum {
  #sum = 0;
  #bytes = 0;

  add(piece: Uint8Array): void {
    this.#sum = addSums(this.#sum, sumOfBytes(piece, this.#bytes));
    this.#bytes += piece.length;
  }

  get value(): number {
    return this.#sum;
  }
}
