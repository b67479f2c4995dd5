import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";
import type { LiveFrame } from "./live-sums.ts";

export interface PixelFigures {
  readonly medians: Float32Array;
  /** With n - 1. */
  readonly variances: Float32Array;
  /** 1.4826 · median absolute deviation. */
  readonly spreads: Float32Array;
}

/** Of every pixel over a few frames, each scaled by its level; samples at or above `clipAdu` are left out. */
export type PixelStatistics = (
  frames: readonly LiveFrame[],
  darkAdu: Float32Array,
  clipAdu: number,
) => PixelFigures;

/** In plain TypeScript and float64: what the compiled one is held to, and what works without a compiler. */
export const plainStatistics: PixelStatistics = (frames, darkAdu, clipAdu) => {
  const found = emptyFigures(darkAdu.length);
  const onePixel = pixelByPixel(frames, darkAdu, clipAdu, found);
  for (let px = 0; px < darkAdu.length; px++) onePixel(px);
  return found;
};

function emptyFigures(pxCount: number): PixelFigures {
  const floats = () => new Float32Array(pxCount);
  return { medians: floats(), variances: floats(), spreads: floats() };
}

/** @param found where a pixel's figures go: those that are asked for */
export function pixelByPixel(
  frames: readonly LiveFrame[],
  darkAdu: Float32Array | undefined,
  clipAdu: number,
  { medians, variances, spreads }: Omit<PixelFigures, "variances"> & Partial<PixelFigures>,
): (px: number) => void {
  const values = new Float64Array(frames.length);
  const factors = frames.map((frame) => 1 / frame.scale);
  const arrays = frames.map((frame) => frame.pixels);
  return (px) => {
    const dark = darkAdu === undefined ? 0 : darkAdu[px]!;
    let n = 0;
    let sum = 0;
    for (let f = 0; f < arrays.length; f++) {
      const raw = arrays[f]![px]!;
      if (raw >= clipAdu) continue;
      const v = (raw - dark) * factors[f]!;
      values[n++] = v;
      sum += v;
    }
    if (n === 0) {
      medians[px] = clipAdu - dark;
      if (variances) variances[px] = 0;
      spreads[px] = 0;
      return;
    }
    const mean = sum / n;
    let squares = 0;
    for (let k = 0; k < n; k++) squares += (values[k]! - mean) ** 2;
    const middle = medianOfFew(values, n);
    for (let k = 0; k < n; k++) values[k] = Math.abs(values[k]! - middle);
    medians[px] = middle;
    if (variances) variances[px] = n > 1 ? squares / (n - 1) : 0;
    spreads[px] = 1.4826 * medianOfFew(values, n);
  };
}

/** Most frames that the kernel has room for. */
const framesMost = 16;
/** Pixels that pass through the kernel's memory at once: those of all frames stay in the innermost cache. */
const piecePx = 1024;

/** The loop over pixels that lie in some memory: see `first-frames.as`. @returns `undefined` where there is no compiler */
export function statisticsIn(memory: WebAssembly.Memory): ((...numbers: number[]) => number) | undefined {
  const module = compiledKernel("first-frames");
  if (module === undefined) return undefined;
  const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as {
    statistics(...numbers: number[]): number;
  };
  return kernel.statistics;
}

/** By SIMD in WebAssembly. @returns `undefined` where there is no compiler */
export function compiledStatistics(): PixelStatistics | undefined {
  const frameBytes = 2 * piecePx + 64;
  const at = { factors: 64, values: 256, dark: 1024, medians: 5184, variances: 9344, spreads: 13_504 };
  const framesAt = 17_664;
  const memory = new WebAssembly.Memory({
    initial: Math.ceil((framesAt + framesMost * frameBytes) / 65_536),
  });
  const { buffer } = memory;
  const whole = bytesOf(new Uint8Array(buffer));
  const statistics = statisticsIn(memory);
  if (statistics === undefined) return undefined;
  const floats = (address: number) => new Float32Array(buffer, address, piecePx);
  const dark = floats(at.dark);
  const staged = {
    medians: floats(at.medians),
    variances: floats(at.variances),
    spreads: floats(at.spreads),
  };
  return (frames, darkAdu, clipAdu) => {
    if (frames.length > framesMost) return plainStatistics(frames, darkAdu, clipAdu);
    const found = emptyFigures(darkAdu.length);
    const onePixel = pixelByPixel(frames, darkAdu, clipAdu, found);
    new Float32Array(buffer, at.factors, framesMost).set(frames.map(({ scale }) => 1 / scale));
    const clip = Math.min(65_536, Math.ceil(clipAdu));
    const bytes = frames.map(({ pixels }) => bytesOf(pixels));
    for (let start = 0; start < darkAdu.length; start += piecePx) {
      const end = Math.min(start + piecePx, darkAdu.length);
      for (let k = 0; k < bytes.length; k++)
        bytes[k]!.copy(whole, framesAt + k * frameBytes, 2 * start, 2 * end);
      dark.set(darkAdu.subarray(start, end));
      const length = Math.ceil((end - start) / 4) * 4;
      const someClipped = statistics(
        ...[framesAt, frameBytes, at.factors, frames.length, clip, length, at.dark, at.values],
        ...[at.medians, at.variances, at.spreads],
      );
      found.medians.set(staged.medians.subarray(0, end - start), start);
      found.variances.set(staged.variances.subarray(0, end - start), start);
      found.spreads.set(staged.spreads.subarray(0, end - start), start);
      if (someClipped === 0) continue;
      // Fewer samples than the others have.
      for (let px = start; px < end; px++) if (Number.isNaN(found.medians[px]!)) onePixel(px);
    }
    return found;
  };
}

let made: PixelStatistics | undefined;

/** Made at first use. */
export const pixelStatistics: PixelStatistics = (frames, darkAdu, clipAdu) => {
  made ??= compiledStatistics() ?? plainStatistics;
  return made(frames, darkAdu, clipAdu);
};

/** Sorting by insertion: the fastest there is for a dozen values. */
function medianOfFew(values: Float64Array, n: number): number {
  for (let k = 1; k < n; k++) {
    const value = values[k]!;
    let j = k - 1;
    while (j >= 0 && values[j]! > value) {
      values[j + 1] = values[j]!;
      j--;
    }
    values[j + 1] = value;
  }
  const half = n >> 1;
  return n & 1 ? values[half]! : (values[half - 1]! + values[half]!) / 2;
}
