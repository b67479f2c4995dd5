import { bytesOf, f32, layout, startKernel, u8 } from "../../../drivers/kit/kernels/host.ts";

export interface LiveFrame {
  readonly pixels: Uint16Array;
  readonly scale: number;
}

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

/** Most frames that the kernel has room for. */
const framesMost = 16;
/** Pixels that pass through the kernel's memory at once: those of all frames stay in the innermost cache. */
const piecePx = 1024;
/** From a frame's piece to the next one's [bytes]. */
const frameBytes = 2 * piecePx + 64;

let made: PixelStatistics | undefined;

/** By SIMD in WebAssembly, its memory made at first use. @throws RangeError for more than 16 frames */
export const measureFirstFrames: PixelStatistics = (frames, darkAdu, clipAdu) => {
  made ??= makeStatistics();
  return made(frames, darkAdu, clipAdu);
};

function makeStatistics(): PixelStatistics {
  const { memory, at, views, bytes } = layout({
    factors: f32(framesMost),
    values: u8(16 * framesMost),
    dark: f32(piecePx),
    medians: f32(piecePx),
    variances: f32(piecePx),
    spreads: f32(piecePx),
    frames: u8(framesMost * frameBytes),
  });
  const kernel = startKernel("first-frames", memory);
  return (frames, darkAdu, clipAdu) => {
    if (frames.length > framesMost) throw new RangeError(`${frames.length} first frames`);
    const found = emptyFigures(darkAdu.length);
    const onePixel = pixelByPixel(frames, darkAdu, clipAdu, found);
    views.factors.set(frames.map(({ scale }) => 1 / scale));
    const sources = frames.map(({ pixels }) => bytesOf(pixels));
    for (let start = 0; start < darkAdu.length; start += piecePx) {
      const end = Math.min(start + piecePx, darkAdu.length);
      for (let k = 0; k < sources.length; k++)
        sources[k]!.copy(bytes, at.frames + k * frameBytes, 2 * start, 2 * end);
      views.dark.set(darkAdu.subarray(start, end));
      const someClipped = kernel.statistics({
        ...at,
        frameBytes,
        n: frames.length,
        clip: Math.min(65_536, Math.ceil(clipAdu)),
        length: Math.ceil((end - start) / 4) * 4,
      });
      for (const figure of ["medians", "variances", "spreads"] as const)
        found[figure].set(views[figure].subarray(0, end - start), start);
      if (someClipped === 0) continue;
      // Fewer samples than the others have.
      for (let px = start; px < end; px++) if (Number.isNaN(found.medians[px]!)) onePixel(px);
    }
    return found;
  };
}

export function emptyFigures(pxCount: number): PixelFigures {
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
