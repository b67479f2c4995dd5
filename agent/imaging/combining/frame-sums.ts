import { bytesOf, layout, startKernel, u8, u32 } from "../../../drivers/kit/kernels/host.ts";

/** Most frames that one pass takes: the sums are read and written once for all of them. */
export const sumsAtOnce = 8;

/** Sums of every pixel over frames; up to 65 537 of them fit. Disposed of they are empty. */
export interface FrameSums extends Disposable {
  readonly sums: Uint32Array;
  /** @returns the sum of each frame */
  add(frames: readonly Uint16Array[]): number[];
}

export type MakeFrameSums = (pxCount: number) => FrameSums;

/** Pixels of a frame that pass through the kernel's memory at once: those of all frames stay in the cache. */
const piecePx = 1024;
/** The kernel takes so many pixels at once. */
const stepPx = 32;
/** From a frame's piece to the next one's. */
const stride = 2 * piecePx + 64;

/** By SIMD in WebAssembly; the sums stay in its memory. */
export const makeFrameSums: MakeFrameSums = (pxCount) => {
  const room = layout({
    totals: u32(sumsAtOnce),
    lanes: u8(32 * sumsAtOnce),
    frames: u8(sumsAtOnce * stride),
    sums: u32(pxCount + stepPx),
  });
  const { memory, at, views, bytes } = room;
  const kernel = startKernel("frame-sums", memory);
  return {
    sums: views.sums.subarray(0, pxCount),
    add(frames) {
      if (frames.length > sumsAtOnce) throw new RangeError(`${frames.length} frames in one pass`);
      const sources = frames.map(bytesOf);
      const found = frames.map(() => 0);
      for (let start = 0; start < pxCount; start += piecePx) {
        const length = Math.min(piecePx, pxCount - start);
        const padded = Math.ceil(length / stepPx) * stepPx;
        for (let k = 0; k < sources.length; k++) {
          const frameAt = at.frames + k * stride;
          sources[k]!.copy(bytes, frameAt, 2 * start, 2 * (start + length));
          if (padded > length) bytes.fill(0, frameAt + 2 * length, frameAt + 2 * padded);
        }
        kernel.addFrames({
          frames: at.frames,
          stride,
          frameCount: sources.length,
          length: padded,
          sums: at.sums + 4 * start,
          lanes: at.lanes,
          totals: at.totals,
        });
        for (let k = 0; k < sources.length; k++) found[k]! += views.totals[k]!;
      }
      return found;
    },
    [Symbol.dispose]: room[Symbol.dispose],
  };
};
