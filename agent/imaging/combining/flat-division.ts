import { compiledKernel } from "../kernels/compile-kernel.ts";

/** What an image is calibrated with: (image - dark) · factor + pedestal, every step in float32. */
export interface DivisionParts {
  readonly factor: Float32Array;
  readonly darkAdu: Float32Array | undefined;
  readonly pedestalAdu: number;
}

export interface FlatDivision {
  divide(imageAdu: Uint16Array, parts: DivisionParts, result: Float32Array): void;
  /** To the nearest count, halves up, held within 0 … 65535. @returns how many had to be */
  divideToCounts(imageAdu: Uint16Array, parts: DivisionParts, result: Uint16Array): number;
}

/** One pixel of it. */
export function dividedPixel(imageAdu: number, px: number, parts: DivisionParts): number {
  const light = Math.fround(imageAdu - (parts.darkAdu?.[px] ?? 0));
  return Math.fround(Math.fround(light * parts.factor[px]!) + Math.fround(parts.pedestalAdu));
}

/** The count that a value becomes. */
export function roundedCount(valueAdu: number): { count: number; clamped: boolean } {
  const nearest = Math.floor(Math.fround(valueAdu + 0.5));
  return { count: Math.max(0, Math.min(65_535, nearest)), clamped: nearest < 0 || nearest > 65_535 };
}

/** What the compiled ones are held to, and what works where these cannot be built. */
export const plainDivision: FlatDivision = {
  divide(imageAdu, parts, result) {
    for (let i = 0; i < imageAdu.length; i++) result[i] = dividedPixel(imageAdu[i]!, i, parts);
  },
  divideToCounts(imageAdu, parts, result) {
    let clamped = 0;
    for (let i = 0; i < imageAdu.length; i++) {
      const rounded = roundedCount(dividedPixel(imageAdu[i]!, i, parts));
      result[i] = rounded.count;
      if (rounded.clamped) clamped++;
    }
    return clamped;
  },
};

/** Image, factor, dark, pedestal, result, length. */
type Kernel = (...numbers: number[]) => number;

/** Pixels that pass through the kernels' memory at once: they stay in the cache. */
const piecePx = 4096;
const at = { image: 64, factor: 16384, dark: 49152, result: 81920 } as const;

/** By SIMD in WebAssembly. @returns `undefined` where there is no compiler */
export function compiledDivision(): FlatDivision | undefined {
  const module = compiledKernel("flat-division");
  if (module === undefined) return undefined;
  const memory = new WebAssembly.Memory({ initial: 2 });
  const kernels = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as {
    divide: Kernel;
    divideToCounts: Kernel;
  };
  const image = new Uint16Array(memory.buffer, at.image, piecePx);
  const factor = new Float32Array(memory.buffer, at.factor, piecePx);
  const dark = new Float32Array(memory.buffer, at.dark, piecePx);
  const reals = new Float32Array(memory.buffer, at.result, piecePx);
  const counts = new Uint16Array(memory.buffer, at.result, piecePx);
  const pieces = (
    from: Uint16Array,
    parts: DivisionParts,
    kernel: Kernel,
    take: (start: number, length: number) => void,
  ) => {
    let sum = 0;
    for (let start = 0; start < from.length; start += piecePx) {
      const length = Math.min(piecePx, from.length - start);
      const padded = Math.ceil(length / 8) * 8;
      image.set(from.subarray(start, start + length));
      image.fill(0, length, padded);
      factor.set(parts.factor.subarray(start, start + length));
      factor.fill(0, length, padded);
      dark.fill(0, length, padded);
      if (parts.darkAdu) dark.set(parts.darkAdu.subarray(start, start + length));
      const darkAt = parts.darkAdu === undefined ? 0 : at.dark;
      const answer = kernel(at.image, at.factor, darkAt, parts.pedestalAdu, at.result, padded);
      take(start, length);
      sum += answer - (padded === length ? 0 : clampedPadding(parts.pedestalAdu) * (padded - length));
    }
    return sum;
  };
  return {
    divide(imageAdu, parts, result) {
      pieces(imageAdu, parts, kernels.divide, (start, length) => {
        result.set(reals.subarray(0, length), start);
      });
    },
    divideToCounts: (imageAdu, parts, result) =>
      pieces(imageAdu, parts, kernels.divideToCounts, (start, length) => {
        result.set(counts.subarray(0, length), start);
      }),
  };
}

/** Zeros behind the end become the pedestal: counted if that is beyond 16 bits. */
function clampedPadding(pedestalAdu: number): 0 | 1 {
  return roundedCount(Math.fround(pedestalAdu)).clamped ? 1 : 0;
}

let made: FlatDivision | undefined;

/** Made at first use. */
export function flatDivision(): FlatDivision {
  made ??= compiledDivision() ?? plainDivision;
  return made;
}
