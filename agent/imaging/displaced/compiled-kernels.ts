import { compiledKernel } from "../kernels/compile-kernel.ts";
import { plainKernels } from "./plain-kernels.ts";
import type { FrameView, MakeKernels } from "./sweep-kernels.ts";

interface Exports {
  setFrame(
    logs: number,
    widthPx: number,
    heightPx: number,
    gridWidthPx: number,
    index: number,
    rightShare: number,
    lowerShare: number,
    weight: number,
    row: number,
    answer: number,
  ): void;
  count(gainCount: number, objectCount: number): number;
  scatter(level: number, gain: number, objectSum: number): void;
  gather(level: number, gain: number, object: number, gainSum: number): number;
  squares(level: number, gain: number, object: number, squareSum: number): number;
  normal(
    data: number,
    sign: number,
    level: number,
    gain: number,
    object: number,
    gainSum: number,
    objectSum: number,
  ): number;
  shiftSums(level: number, gain: number, object: number, limit: number): void;
}

const pageBytes = 65536;
/** Kernels work on four pixels at a time and may run past the end of a row. */
const slackBytes = 64;

/**
 * SIMD WebAssembly; falls back to the plain twins where there is no compiler.
 * All arrays lie in one memory that is made large enough at once, since growing it would take the arrays away.
 */
export const compiledKernels: MakeKernels = (room) => {
  const module = compiledKernel("displaced-sweeps");
  if (module === undefined) return plainKernels(room);
  const pxCount = room.widthPx * room.heightPx;
  const rowBytes = 4 * (room.widthPx + 16);
  const bytes = 2 * pxCount + rowBytes + 4 * room.floats + (room.arrays + 8) * 2 * slackBytes;
  const memory = new WebAssembly.Memory({ initial: Math.ceil(bytes / pageBytes) });
  const kernel = new WebAssembly.Instance(module, { env: { memory } }).exports as unknown as Exports;
  let free = 64;
  const take = (length: number) => {
    const address = free;
    free = (free + length + slackBytes + 63) & ~63;
    if (free > memory.buffer.byteLength) throw new RangeError("the kernels' memory is used up");
    return address;
  };
  const answer = new Float64Array(memory.buffer, take(40), 5);
  const staged = new Int16Array(memory.buffer, take(2 * pxCount), pxCount);
  const row = take(rowBytes);
  const set = (frame: FrameView) => {
    if (frame.logs.length > staged.length)
      throw new RangeError("the frame is larger than the kernels were made for");
    staged.set(frame.logs);
    const { widthPx, heightPx, gridWidthPx, place } = frame;
    kernel.setFrame(
      staged.byteOffset,
      widthPx,
      heightPx,
      gridWidthPx,
      place.index,
      place.rightShare,
      place.lowerShare,
      frame.weight,
      row,
      answer.byteOffset,
    );
  };
  return {
    name: "compiled",
    floats: (length) => new Float32Array(memory.buffer, take(4 * length), length),
    count: (frame, gainCount, objectCount) => {
      set(frame);
      return kernel.count(gainCount.byteOffset, objectCount.byteOffset);
    },
    scatter: (frame, level, gain, objectSum) => {
      set(frame);
      kernel.scatter(level, gain.byteOffset, objectSum.byteOffset);
    },
    gather: (frame, level, gain, object, gainSum) => {
      set(frame);
      return kernel.gather(level, gain.byteOffset, object.byteOffset, gainSum.byteOffset);
    },
    squares: (frame, level, gain, object, squareSum) => {
      set(frame);
      return kernel.squares(level, gain.byteOffset, object.byteOffset, squareSum.byteOffset);
    },
    normal: (frame, { data, sign }, level, gain, object, sums) => {
      set(frame);
      const [gainAt, objectAt] = [sums.gain.byteOffset, sums.object.byteOffset];
      return kernel.normal(data, sign, level, gain.byteOffset, object.byteOffset, gainAt, objectAt);
    },
    shiftSums: (frame, level, gain, object, limit) => {
      set(frame);
      kernel.shiftSums(level, gain.byteOffset, object.byteOffset, limit);
      const [rx, ry, xx, xy, yy] = answer as unknown as [number, number, number, number, number];
      return { rx, ry, xx, xy, yy };
    },
  };
};
