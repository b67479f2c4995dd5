import { f32, f64, i16, layout, lineBytes, startKernel } from "../../../drivers/kit/kernels/host.ts";
import type { FrameView, MakeKernels, SharedKernels, SweepLoops } from "./sweep-kernels.ts";

/**
 * By SIMD in WebAssembly. All arrays lie in one memory that is made large enough at once, since growing it would take the
 * arrays away. Two threads share it, each with its own place for a row and a frame's logarithms.
 */
export const makeSweepKernels: MakeKernels = (room) => {
  const pxMost = room.widthPx * room.heightPx;
  const place = { answer: f64(5), row: f32(room.widthPx + 16), logs: i16(pxMost) };
  const { memory, at } = layout(
    {
      ...place,
      otherAnswer: place.answer,
      otherRow: place.row,
      otherLogs: place.logs,
      arrays: f32(room.floats + (room.arrays * 2 * lineBytes) / 4),
    },
    "shared",
  );
  let free = at.arrays;
  const take = (bytes: number) => {
    const address = free;
    free = (free + bytes + 2 * lineBytes - 1) & -lineBytes;
    if (free > memory.buffer.byteLength) throw new RangeError("the kernels' memory is used up");
    return address;
  };
  const own = { memory, answerAt: at.answer, rowAt: at.row, logsAt: at.logs, pxMost };
  return {
    ...kernelsAt(own),
    shared: { memory, answerAt: at.otherAnswer, rowAt: at.otherRow, logsAt: at.otherLogs, pxMost },
    floats: (length) => new Float32Array(memory.buffer, take(4 * length), length),
  };
};

/** The loops, at work in one place of their memory. */
export function kernelsAt({ memory, answerAt, rowAt, logsAt, pxMost }: SharedKernels): SweepLoops {
  const kernel = startKernel("displaced-sweeps", memory);
  const answer = new Float64Array(memory.buffer, answerAt, 5);
  const staged = new Int16Array(memory.buffer, logsAt, pxMost);
  const set = (frame: FrameView) => {
    if (frame.logs.length > pxMost)
      throw new RangeError("the frame is larger than the kernels were made for");
    staged.set(frame.logs);
    const { widthPx, heightPx, gridWidthPx, place } = frame;
    kernel.setFrame({
      logsAt,
      widthPx,
      heightPx,
      gridWidthPx,
      index: place.index,
      rightShare: place.rightShare,
      lowerShare: place.lowerShare,
      frameWeight: frame.weight,
      rowAt,
      answerAt,
    });
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
      return kernel.normal({
        data,
        sign,
        level,
        gain: gain.byteOffset,
        object: object.byteOffset,
        gainSum: sums.gain.byteOffset,
        objectSum: sums.object.byteOffset,
      });
    },
    shiftSums: (frame, level, gain, object, limit) => {
      set(frame);
      kernel.shiftSums(level, gain.byteOffset, object.byteOffset, limit);
      const [rx, ry, xx, xy, yy] = answer as unknown as [number, number, number, number, number];
      return { rx, ry, xx, xy, yy };
    },
  };
}
