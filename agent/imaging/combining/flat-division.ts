import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";
import {
  type DivisionKernel,
  type DivisionKernels,
  type StoredDivision,
  storedDivision,
} from "./stored-division.ts";

/** What images are calibrated with: (image - dark) · factor + pedestal, every step in float32. */
export interface DivisionParts {
  readonly factor: Float32Array;
  readonly darkAdu: Float32Array | undefined;
}

/** One flat and dark, ready for many images: both stay where the loops can reach them. */
export interface FlatDivision extends DivisionParts {
  divide(imageAdu: Uint16Array, pedestalAdu: number, result: Float32Array): void;
  /** To the nearest count, halves up, held within 0 … 65535. @returns how many had to be */
  divideToCounts(imageAdu: Uint16Array, pedestalAdu: number, result: Uint16Array): number;
  /** For images as FITS stores them; `undefined` without a compiler. */
  readonly stored: StoredDivision | undefined;
}

/** @param factor as many zeros as an image has pixels are made, to be filled in before the first image */
export type MakeDivision = (pxCount: number, withDark: boolean) => FlatDivision;

/** One pixel of it. */
export function dividedPixel(
  imageAdu: number,
  px: number,
  { factor, darkAdu }: DivisionParts,
  pedestalAdu: number,
): number {
  const light = Math.fround(imageAdu - (darkAdu?.[px] ?? 0));
  return Math.fround(Math.fround(light * factor[px]!) + Math.fround(pedestalAdu));
}

/** The count that a value becomes. */
export function roundedCount(valueAdu: number): { count: number; clamped: boolean } {
  const nearest = Math.floor(Math.fround(valueAdu + 0.5));
  return { count: Math.max(0, Math.min(65_535, nearest)), clamped: nearest < 0 || nearest > 65_535 };
}

/** What the compiled ones are held to, and what works where these cannot be built. */
export const plainDivision: MakeDivision = (pxCount, withDark) => {
  const factor = new Float32Array(pxCount);
  const darkAdu = withDark ? new Float32Array(pxCount) : undefined;
  const parts = { factor, darkAdu };
  return {
    ...parts,
    stored: undefined,
    divide(imageAdu, pedestalAdu, result) {
      for (let i = 0; i < imageAdu.length; i++) result[i] = dividedPixel(imageAdu[i]!, i, parts, pedestalAdu);
    },
    divideToCounts(imageAdu, pedestalAdu, result) {
      let clamped = 0;
      for (let i = 0; i < imageAdu.length; i++) {
        const rounded = roundedCount(dividedPixel(imageAdu[i]!, i, parts, pedestalAdu));
        result[i] = rounded.count;
        if (rounded.clamped) clamped++;
      }
      return clamped;
    },
  };
};

/** Pixels of an image that pass through the kernels' memory at once. Copies of 2 kB and more take another, slower way. */
const piecePx = 512;
const lineBytes = 64;

/** By SIMD in WebAssembly. @returns `undefined` where there is no compiler */
export function compiledDivision(): MakeDivision | undefined {
  const module = compiledKernel("flat-division");
  if (module === undefined) return undefined;
  return (pxCount, withDark) => {
    let free = lineBytes;
    const take = (bytes: number) => {
      const address = free;
      free += (Math.ceil(bytes / lineBytes) + 1) * lineBytes; // kernels run past the end by less than a line
      return address;
    };
    const at = {
      image: take(2 * piecePx),
      result: take(4 * piecePx),
      factor: take(4 * pxCount),
      dark: withDark ? take(4 * pxCount) : 0,
    };
    // Room for a whole image, which costs nothing until it is used.
    const stored = storedDivision.room(pxCount, take);
    const memory = new WebAssembly.Memory({ initial: Math.ceil(free / 65_536) });
    const kernels = new WebAssembly.Instance(module, { env: { memory } })
      .exports as unknown as DivisionKernels;
    const whole = bytesOf(new Uint8Array(memory.buffer));
    const pieces = (
      imageAdu: Uint16Array,
      pedestalAdu: number,
      kernel: DivisionKernel,
      result: Float32Array | Uint16Array,
    ) => {
      const [from, into, pixelBytes] = [bytesOf(imageAdu), bytesOf(result), result.BYTES_PER_ELEMENT];
      let sum = 0;
      for (let start = 0; start < imageAdu.length; start += piecePx) {
        const length = Math.min(piecePx, imageAdu.length - start);
        const padded = Math.ceil(length / 8) * 8;
        from.copy(whole, at.image, 2 * start, 2 * (start + length));
        const factorAt = at.factor + 4 * start;
        const darkAt = withDark ? at.dark + 4 * start : 0;
        const answer = kernel(at.image, factorAt, darkAt, pedestalAdu, at.result, padded);
        whole.copy(into, pixelBytes * start, at.result, at.result + pixelBytes * length);
        // Factors behind the end are zeros.
        sum += answer - (padded === length ? 0 : clampedPadding(pedestalAdu) * (padded - length));
      }
      return sum;
    };
    return {
      factor: new Float32Array(memory.buffer, at.factor, pxCount),
      darkAdu: withDark ? new Float32Array(memory.buffer, at.dark, pxCount) : undefined,
      stored: storedDivision.make({ pxCount, memory, kernels, factorAt: at.factor, darkAt: at.dark }, stored),
      divide(imageAdu, pedestalAdu, result) {
        pieces(imageAdu, pedestalAdu, kernels.divide, result);
      },
      divideToCounts: (imageAdu, pedestalAdu, result) =>
        pieces(imageAdu, pedestalAdu, kernels.divideToCounts, result),
    };
  };
}

/** Zeros behind the end become the pedestal: counted if that is beyond 16 bits. */
function clampedPadding(pedestalAdu: number): 0 | 1 {
  return roundedCount(Math.fround(pedestalAdu)).clamped ? 1 : 0;
}

let made: MakeDivision | undefined;

/** Made at first use. */
export const flatDivision: MakeDivision = (pxCount, withDark) => {
  made ??= compiledDivision() ?? plainDivision;
  return made(pxCount, withDark);
};
