import { compiledKernel } from "../kernels/compile-kernel.ts";

/** Sums per pixel of what samples exceed their reference by. */
export interface MasterSums {
  readonly reference: Float32Array;
  readonly limit: Float32Array;
  readonly sum: Float32Array;
  readonly squares: Float32Array;
  readonly kept: Uint16Array;
  readonly clipped: Uint16Array;
}

export interface LiveFrame {
  readonly pixels: Uint16Array;
  readonly scale: number;
}

/**
 * Adds frames to the sums: a sample at or above `clipAdu` counts as clipped, one beyond its limit is left out.
 * Several frames at once cost little more than one, since the sums pass by once for all of them.
 */
export type AddFrames = (
  frames: readonly LiveFrame[],
  darkAdu: Float32Array,
  clipAdu: number,
  to: MasterSums,
) => void;

/** Most frames that one pass takes. */
export const framesAtOnce = 8;

/** In plain TypeScript, every step in float32: what the compiled one is held to, and what works without a compiler. */
export const addFramesPlainly: AddFrames = (frames, darkAdu, clipAdu, to) => {
  const { reference, limit, sum, squares, kept, clipped } = to;
  for (const { pixels, scale } of frames) {
    const factor = Math.fround(1 / scale);
    for (let i = 0; i < pixels.length; i++) {
      const raw = pixels[i]!;
      if (raw >= clipAdu) {
        clipped[i]!++;
        continue;
      }
      const light = Math.fround(Math.fround(raw - darkAdu[i]!) * factor);
      const d = Math.fround(light - reference[i]!);
      const most = limit[i]!;
      if (d <= most && d >= -most) {
        sum[i]! += d;
        squares[i]! += Math.fround(d * d);
        kept[i]!++;
      }
    }
  }
};

/** Pixels that pass through the kernel's memory at once. */
const piecePx = 4096;

/** By SIMD in WebAssembly. @returns `undefined` where there is no compiler */
export function compiledAddFrames(): AddFrames | undefined {
  const module = compiledKernel("live-sums");
  if (module === undefined) return undefined;
  let free = 64;
  const take = (bytes: number) => {
    const address = free;
    free += bytes + 64; // not all of them at one place of the cache
    return address;
  };
  const frameBytes = 2 * piecePx + 64;
  const at = {
    factors: take(4 * framesAtOnce),
    frames: take(framesAtOnce * frameBytes),
    dark: take(4 * piecePx),
    reference: take(4 * piecePx),
    limit: take(4 * piecePx),
    sum: take(4 * piecePx),
    squares: take(4 * piecePx),
    kept: take(2 * piecePx),
    clipped: take(2 * piecePx),
  };
  const memory = new WebAssembly.Memory({ initial: Math.ceil(free / 65_536) });
  const { buffer } = memory;
  const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as {
    addFrames(...numbers: number[]): void;
  };
  const staged = {
    factors: new Float32Array(buffer, at.factors, framesAtOnce),
    frames: Array.from(
      { length: framesAtOnce },
      (_, k) => new Uint16Array(buffer, at.frames + k * frameBytes, piecePx),
    ),
    dark: new Float32Array(buffer, at.dark, piecePx),
    reference: new Float32Array(buffer, at.reference, piecePx),
    limit: new Float32Array(buffer, at.limit, piecePx),
    sum: new Float32Array(buffer, at.sum, piecePx),
    squares: new Float32Array(buffer, at.squares, piecePx),
    kept: new Uint16Array(buffer, at.kept, piecePx),
    clipped: new Uint16Array(buffer, at.clipped, piecePx),
  };
  return (frames, darkAdu, clipAdu, to) => {
    if (frames.length > framesAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
    staged.factors.set(frames.map(({ scale }) => 1 / scale));
    const clip = Math.min(65_536, Math.ceil(clipAdu));
    for (let start = 0; start < darkAdu.length; start += piecePx) {
      const end = Math.min(start + piecePx, darkAdu.length);
      for (const [k, { pixels }] of frames.entries()) staged.frames[k]!.set(pixels.subarray(start, end));
      staged.dark.set(darkAdu.subarray(start, end));
      staged.reference.set(to.reference.subarray(start, end));
      staged.limit.set(to.limit.subarray(start, end));
      staged.sum.set(to.sum.subarray(start, end));
      staged.squares.set(to.squares.subarray(start, end));
      staged.kept.set(to.kept.subarray(start, end));
      staged.clipped.set(to.clipped.subarray(start, end));
      const length = Math.ceil((end - start) / 8) * 8;
      kernel.addFrames(
        ...[at.frames, frameBytes, at.factors, frames.length, clip, length, at.dark, at.reference],
        ...[at.limit, at.sum, at.squares, at.kept, at.clipped],
      );
      to.sum.set(staged.sum.subarray(0, end - start), start);
      to.squares.set(staged.squares.subarray(0, end - start), start);
      to.kept.set(staged.kept.subarray(0, end - start), start);
      to.clipped.set(staged.clipped.subarray(0, end - start), start);
    }
  };
}

let made: AddFrames | undefined;

/** Made at first use. */
export const addFrames: AddFrames = (frames, darkAdu, clipAdu, to) => {
  made ??= compiledAddFrames() ?? addFramesPlainly;
  made(frames, darkAdu, clipAdu, to);
};
