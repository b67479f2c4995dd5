import type { FramePlace } from "./object-grid.ts";

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

/**
 * The loops that all the time goes into. With D the logarithms, c the frame's level, G the gain and T the bilinear
 * sampling of the object O at the frame's place, the residual is q = D - c - G - T O; w is the frame's weight, zero where
 * there is no value.
 * Arrays must come from `floats` of the same kernels.
 */
export interface SweepLoops {
  /** gainCount += w, objectCount += Tᵀ w. Returns Σ w. */
  count(frame: FrameView, gainCount: Float32Array, objectCount: Float32Array): number;
  /** objectSum += Tᵀ w (D - c - G). */
  scatter(frame: FrameView, level: number, gain: Float32Array, objectSum: Float32Array): void;
  /** gainSum += w q. Returns Σ w q. */
  gather(
    frame: FrameView,
    level: number,
    gain: Float32Array,
    object: Float32Array,
    gainSum: Float32Array,
  ): number;
  /** gainSum += q', objectSum += Tᵀ q' with q' = w (data · D - sign · (c + G + T O)). Returns Σ q'. */
  normal(
    frame: FrameView,
    factors: { readonly data: number; readonly sign: 1 | -1 },
    level: number,
    gain: Float32Array,
    object: Float32Array,
    sums: { readonly gain: Float32Array; readonly object: Float32Array },
  ): number;
  /** squareSum += w q². Returns Σ w q². */
  squares(
    frame: FrameView,
    level: number,
    gain: Float32Array,
    object: Float32Array,
    squareSum: Float32Array,
  ): number;
  /** Not weighted. With q limited to ± `limit`. */
  shiftSums(
    frame: FrameView,
    level: number,
    gain: Float32Array,
    object: Float32Array,
    limit: number,
  ): ShiftSums;
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
