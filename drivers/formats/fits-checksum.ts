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
  const wordCount = bytes.length >>> 2;
  const aligned = bytes.byteOffset % 4 === 0 ? bytes : bytes.slice();
  let sum = sumOfWords(new Uint32Array(aligned.buffer, aligned.byteOffset, wordCount));
  const rest = bytes.length - wordCount * 4;
  if (rest > 0) {
    let last = 0;
    for (let i = 0; i < 4; i++) last = last * 256 + (i < rest ? bytes[wordCount * 4 + i]! : 0);
    sum = addSums(sum, last);
  }
  const shift = (offsetBytes % 4) * 8;
  return shift === 0 ? sum : ((sum >>> shift) | (sum << (32 - shift))) >>> 0;
}

/** Words as the little-endian host reads them; sums the four byte columns apart, 256 words at a time. */
function sumOfWords(words: Uint32Array): number {
  let sum = 0;
  for (let start = 0; start < words.length; start += 256) {
    const end = Math.min(start + 256, words.length);
    let even = 0; // columns 0 and 2
    let odd = 0; // columns 1 and 3
    for (let i = start; i < end; i++) {
      const w = words[i]!;
      even = (even + (w & 0x00ff00ff)) | 0;
      odd = (odd + ((w >>> 8) & 0x00ff00ff)) | 0;
    }
    const total =
      (even & 0xffff) * 0x1000000 + (odd & 0xffff) * 0x10000 + (even >>> 16) * 0x100 + (odd >>> 16);
    // Zero only for nothing but zeros; a multiple of 2^32 - 1 is all ones.
    sum = addSums(sum, total === 0 ? 0 : total % allOnes || allOnes);
  }
  return sum;
}

/** The 16 characters of CHECKSUM that bring an HDU, summed with sixteen "0" in their place, to all ones. */
export function checksumText(hduSum: number): string {
  const complement = ~hduSum >>> 0;
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
