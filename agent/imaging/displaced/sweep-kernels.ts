import { f32, f64, i16, layout, lineBytes, startKernel } from "../../../drivers/kit/kernels/host.ts";
import type { FramePlace } from "./object-grid.ts";

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

/** One frame as a kernel sees it. */
export interface FrameView {
  /** [heightPx, widthPx], in units of `logUnit`; `noLog` is left out. */
  readonly logs: Int16Array;
  readonly widthPx: number;
  readonly heightPx: number;
  readonly place: FramePlace;
  /** What the frame counts, against 1 for a usual one. */
  readonly weight: number;
  /** Row length of the object's grid. */
  readonly gridWidthPx: number;
}

/** Σ over a frame's pixels of residual · gradient and gradient · gradient, for a step of its shift. */
export interface ShiftSums {
  readonly rx: number;
  readonly ry: number;
  readonly xx: number;
  readonly xy: number;
  readonly yy: number;
}

/** A place in the kernels' memory for one thread to work in. Cloned from thread to thread, the memory stays the same. */
export interface SharedKernels {
  readonly memory: WebAssembly.Memory;
  readonly answerAt: number;
  readonly rowAt: number;
  readonly logsAt: number;
  readonly pxMost: number;
}

/** The loops, and the memory that they work in. */
export interface SweepKernels extends SweepLoops {
  /** How another thread comes to the same loops on the same arrays; `undefined` where it cannot. */
  readonly shared?: SharedKernels;
  /** Zeros. Taken for as long as the kernels live. */
  floats(length: number): Float32Array;
}

/** @param room largest frame that will be worked on, and how many arrays with how many numbers in all will be asked for */
export type MakeKernels = (room: {
  readonly widthPx: number;
  readonly heightPx: number;
  readonly arrays: number;
  readonly floats: number;
}) => SweepKernels;

type Numbers = Float32Array;

/**
 * The loops that all the time goes into, at work in one place of their memory. With D the logarithms, c the frame's level,
 * G the gain and T the bilinear sampling of the object O at the frame's place, the residual is q = D - c - G - T O; w is the
 * frame's weight, zero where there is no value. Arrays must come from `floats` of the same kernels.
 */
export function kernelsAt({ memory, answerAt, rowAt, logsAt, pxMost }: SharedKernels) {
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
    /** gainCount += w, objectCount += Tᵀ w. Returns Σ w. */
    count(frame: FrameView, gainCount: Numbers, objectCount: Numbers): number {
      set(frame);
      return kernel.count(gainCount.byteOffset, objectCount.byteOffset);
    },
    /** objectSum += Tᵀ w (D - c - G). */
    scatter(frame: FrameView, level: number, gain: Numbers, objectSum: Numbers): void {
      set(frame);
      kernel.scatter(level, gain.byteOffset, objectSum.byteOffset);
    },
    /** gainSum += w q. Returns Σ w q. */
    gather(frame: FrameView, level: number, gain: Numbers, object: Numbers, gainSum: Numbers): number {
      set(frame);
      return kernel.gather(level, gain.byteOffset, object.byteOffset, gainSum.byteOffset);
    },
    /** squareSum += w q². Returns Σ w q². */
    squares(frame: FrameView, level: number, gain: Numbers, object: Numbers, squareSum: Numbers): number {
      set(frame);
      return kernel.squares(level, gain.byteOffset, object.byteOffset, squareSum.byteOffset);
    },
    /** gainSum += q', objectSum += Tᵀ q' with q' = w (data · D - sign · (c + G + T O)). Returns Σ q'. */
    normal(
      frame: FrameView,
      { data, sign }: { readonly data: number; readonly sign: 1 | -1 },
      level: number,
      gain: Numbers,
      object: Numbers,
      sums: { readonly gain: Numbers; readonly object: Numbers },
    ): number {
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
    /** Not weighted. With q limited to ± `limit`. */
    shiftSums(frame: FrameView, level: number, gain: Numbers, object: Numbers, limit: number): ShiftSums {
      set(frame);
      kernel.shiftSums(level, gain.byteOffset, object.byteOffset, limit);
      const [rx, ry, xx, xy, yy] = answer as unknown as [number, number, number, number, number];
      return { rx, ry, xx, xy, yy };
    },
  };
}

export type SweepLoops = ReturnType<typeof kernelsAt>;
