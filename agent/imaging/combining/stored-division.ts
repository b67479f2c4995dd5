import type { Kernel } from "../../../drivers/kit/kernels/host.ts";

/** A header of this length fits in before the result. */
export const headRoomBytes = 20 * 2880;
/** Zeros up to the end of a block fit in behind it. */
export const tailRoomBytes = 2880;

/** Sums of words of 32 bits, as FITS adds them up; 0 to 2^32 - 1. */
export interface StoredSums {
  readonly raw: number;
  readonly result: number;
}

/**
 * Division of unsigned 16-bit images from the bytes of a FITS file to those of another, in place: read into `raw`, divided,
 * and written from `result` without a copy. What lies in them is good until the next image.
 */
export interface StoredDivision {
  readonly raw: Uint8Array<ArrayBuffer>;
  /** @returns how many values had to be held within 0 … 65535, and the sums of what was read and made */
  toCounts(pedestalAdu: number): { readonly clampedPx: number; readonly sums: StoredSums };
  toReals(pedestalAdu: number): { readonly sums: StoredSums };
  /** Highest count of the image that was divided last. */
  mostAdu(): number;
  /** The result with zeros around: `headBytes` before it, then its own, up to `wholeBytes` in all. */
  result(headBytes: number, wholeBytes: number): Uint8Array<ArrayBuffer>;
}

/**
 * @param raw in the kernel's memory
 * @param resultAt where the result lies there, with `headRoomBytes` before it
 */
export function storedDivision(
  kernel: Kernel<"flat-division">,
  raw: Uint8Array<ArrayBuffer>,
  resultAt: number,
): StoredDivision {
  const { buffer } = raw;
  const length = raw.length / 2;
  let resultBytes = 0;
  /** Behind a shorter result than the last one's lie zeros again. */
  const prepare = (bytes: number) => {
    if (resultBytes > bytes) new Uint8Array(buffer, resultAt + bytes, resultBytes - bytes).fill(0);
    resultBytes = bytes;
  };
  const sums = (): StoredSums => ({
    raw: sumOfHalves(kernel.sumOf(0), kernel.sumOf(1)),
    result: sumOfHalves(kernel.sumOf(2), kernel.sumOf(3)),
  });
  return {
    raw,
    toCounts(pedestalAdu) {
      prepare(2 * length);
      const clampedPx = kernel.divideStoredToCounts(pedestalAdu, length);
      return { clampedPx, sums: sums() };
    },
    toReals(pedestalAdu) {
      prepare(4 * length);
      kernel.divideStored(pedestalAdu, length);
      return { sums: sums() };
    },
    mostAdu: () => kernel.mostOf(),
    result: (headBytes, wholeBytes) => new Uint8Array(buffer, resultAt - headBytes, wholeBytes),
  };
}

/** Of the upper and lower halves of words, modulo 2^32 - 1, where all ones stand for zero unless all words are zero. */
function sumOfHalves(upper: number, lower: number): number {
  const most = 0xffffffff;
  // upper · 2^16, of which each 2^32 counts as 1.
  const sum = Math.floor(upper / 65_536) + (upper % 65_536) * 65_536 + lower;
  return sum === 0 ? 0 : sum % most || most;
}
