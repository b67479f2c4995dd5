import { compiledKernel } from "../kernels/compile-kernel.ts";
import { plainKernels } from "./plain-kernels.ts";
import type { FrameView, MakeKernels, SharedKernels, SweepLoops } from "./sweep-kernels.ts";

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
 * All arrays lie in one memory that is made large enough at once, since growing it would take the arrays away. Two threads
 * share it, each with its own place for a row and a frame's logarithms.
 */
export const compiledKernels: MakeKernels = (room) => {
  if (sweeps() === undefined) return plainKernels(room);
  const pxMost = room.widthPx * room.heightPx;
  const rowBytes = 4 * (room.widthPx + 16);
  const bytes = 2 * (2 * pxMost + rowBytes) + 4 * room.floats + (room.arrays + 14) * 2 * slackBytes;
  const pages = Math.ceil(bytes / pageBytes);
  const memory = new WebAssembly.Memory({ initial: pages, maximum: pages, shared: true });
  let free = 64;
  const take = (length: number) => {
    const address = free;
    free = (free + length + slackBytes + 63) & ~63;
    if (free > memory.buffer.byteLength) throw new RangeError("the kernels' memory is used up");
    return address;
  };
  const place = (): SharedKernels => ({
    memory,
    answerAt: take(40),
    rowAt: take(rowBytes),
    logsAt: take(2 * pxMost),
    pxMost,
  });
  return {
    ...kernelsAt(place()),
    name: "compiled",
    shared: place(),
    floats: (length) => new Float32Array(memory.buffer, take(4 * length), length),
  };
};

function sweeps(): WebAssembly.Module | undefined {
  return compiledKernel("displaced-sweeps");
}

/** The loops, at work in one place of their memory. */
export function kernelsAt({ memory, answerAt, rowAt, logsAt, pxMost }: SharedKernels): SweepLoops {
  const kernel = new WebAssembly.Instance(sweeps()!, { env: { memory } }).exports as unknown as Exports;
  const answer = new Float64Array(memory.buffer, answerAt, 5);
  const staged = new Int16Array(memory.buffer, logsAt, pxMost);
  const set = (frame: FrameView) => {
    if (frame.logs.length > pxMost)
      throw new RangeError("the frame is larger than the kernels were made for");
    staged.set(frame.logs);
    const { widthPx, heightPx, gridWidthPx, place } = frame;
    kernel.setFrame(
      logsAt,
      widthPx,
      heightPx,
      gridWidthPx,
      place.index,
      place.rightShare,
      place.lowerShare,
      frame.weight,
      rowAt,
      answerAt,
    );
  };
  return {
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
}
