/** A header of this length fits in before the result. */
export const headRoomBytes = 20 * 2880;

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
  /** The result with zeros around: `headBytes` before it, then its own, up to `wholeBytes` in all. */
  result(headBytes: number, wholeBytes: number): Uint8Array<ArrayBuffer>;
}

/** Image, factor, dark, pedestal, result, length. */
export type DivisionKernel = (...numbers: number[]) => number;

export interface DivisionKernels {
  readonly divide: DivisionKernel;
  readonly divideToCounts: DivisionKernel;
  readonly divideStored: DivisionKernel;
  readonly divideStoredToCounts: DivisionKernel;
  readonly sumOf: (which: number) => number;
}

interface Room {
  readonly raw: number;
  readonly result: number;
}

interface Around {
  readonly pxCount: number;
  readonly memory: WebAssembly.Memory;
  readonly kernels: DivisionKernels;
  readonly factorAt: number;
  readonly darkAt: number;
}

export const storedDivision = {
  room: (pxCount: number, take: (bytes: number) => number): Room => ({
    raw: take(2 * pxCount),
    result: take(headRoomBytes + 4 * pxCount + 2880) + headRoomBytes,
  }),

  make: ({ pxCount, memory, kernels, factorAt, darkAt }: Around, at: Room): StoredDivision => {
    const buffer = memory.buffer as ArrayBuffer;
    let resultBytes = 0;
    const sums = (): StoredSums => ({
      raw: sumOfHalves(kernels.sumOf(0), kernels.sumOf(1)),
      result: sumOfHalves(kernels.sumOf(2), kernels.sumOf(3)),
    });
    /** Behind a shorter result than the last one's lie zeros again. */
    const made = (bytes: number) => {
      if (resultBytes > bytes) new Uint8Array(buffer, at.result + bytes, resultBytes - bytes).fill(0);
      resultBytes = bytes;
    };
    return {
      raw: new Uint8Array(buffer, at.raw, 2 * pxCount),
      toCounts(pedestalAdu) {
        made(2 * pxCount);
        const clampedPx = kernels.divideStoredToCounts(
          ...[at.raw, factorAt, darkAt, pedestalAdu, at.result, pxCount],
        );
        return { clampedPx, sums: sums() };
      },
      toReals(pedestalAdu) {
        made(4 * pxCount);
        kernels.divideStored(at.raw, factorAt, darkAt, pedestalAdu, at.result, pxCount);
        return { sums: sums() };
      },
      result: (headBytes, wholeBytes) => new Uint8Array(buffer, at.result - headBytes, wholeBytes),
    };
  },
};

/** Of the upper and lower halves of words, modulo 2^32 - 1, where all ones stand for zero unless all words are zero. */
function sumOfHalves(upper: number, lower: number): number {
  const most = 0xffffffff;
  // upper · 2^16, of which each 2^32 counts as 1.
  const sum = Math.floor(upper / 65_536) + (upper % 65_536) * 65_536 + lower;
  return sum === 0 ? 0 : sum % most || most;
}
