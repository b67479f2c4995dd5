import { bytesOf } from "../kernels/bytes-of.ts";
import { compiledKernel } from "../kernels/compile-kernel.ts";

/** Most frames that one pass takes: the sums are read and written once for all of them. */
export const sumsAtOnce = 8;

/** Sums of every pixel over frames; up to 65 537 of them fit. */
export interface FrameSums {
  readonly sums: Uint32Array;
  /** @returns the sum of each frame */
  add(frames: readonly Uint16Array[]): number[];
}

export type MakeFrameSums = (pxCount: number) => FrameSums;

/** What the compiled ones are held to, and what works without a compiler. */
export const plainFrameSums: MakeFrameSums = (pxCount) => {
  const sums = new Uint32Array(pxCount);
  return {
    sums,
    add: (frames) =>
      frames.map((pixels) => {
        let total = 0;
        for (let i = 0; i < pxCount; i++) {
          sums[i]! += pixels[i]!;
          total += pixels[i]!;
        }
        return total;
      }),
  };
};

/** Pixels of a frame that pass through the kernel's memory at once: those of all frames stay in the cache. */
const piecePx = 1024;
/** The kernel takes so many pixels at once. */
const stepPx = 32;

/** By SIMD in WebAssembly; the sums stay in its memory. @returns `undefined` where there is no compiler */
export function compiledFrameSums(): MakeFrameSums | undefined {
  const module = compiledKernel("frame-sums");
  if (module === undefined) return undefined;
  return (pxCount) => {
    const frameBytes = 2 * piecePx + 64;
    const framesAt = 64 + 36 * sumsAtOnce + 32;
    const at = {
      totals: 64,
      lanes: 64 + 4 * sumsAtOnce,
      frames: framesAt,
      sums: framesAt + sumsAtOnce * frameBytes,
    };
    const memory = new WebAssembly.Memory({
      initial: Math.ceil((at.sums + 4 * (pxCount + stepPx)) / 65_536),
    });
    const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as {
      addFrames(...numbers: number[]): void;
    };
    const whole = bytesOf(new Uint8Array(memory.buffer));
    const totals = new Uint32Array(memory.buffer, at.totals, sumsAtOnce);
    return {
      sums: new Uint32Array(memory.buffer, at.sums, pxCount),
      add(frames) {
        if (frames.length > sumsAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
        const bytes = frames.map(bytesOf);
        const found = frames.map(() => 0);
        for (let start = 0; start < pxCount; start += piecePx) {
          const length = Math.min(piecePx, pxCount - start);
          const padded = Math.ceil(length / stepPx) * stepPx;
          for (let k = 0; k < bytes.length; k++) {
            const frameAt = at.frames + k * frameBytes;
            bytes[k]!.copy(whole, frameAt, 2 * start, 2 * (start + length));
            if (padded > length) whole.fill(0, frameAt + 2 * length, frameAt + 2 * padded);
          }
          const sumsAt = at.sums + 4 * start;
          kernel.addFrames(at.frames, frameBytes, bytes.length, padded, sumsAt, at.lanes, at.totals);
          for (let k = 0; k < bytes.length; k++) found[k]! += totals[k]!;
        }
        return found;
      },
    };
  };
}

let made: MakeFrameSums | undefined;

/** Made at first use. */
export const frameSums: MakeFrameSums = (pxCount) => {
  made ??= compiledFrameSums() ?? plainFrameSums;
  return made(pxCount);
};
