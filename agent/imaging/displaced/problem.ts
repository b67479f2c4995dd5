import type { Shape } from "../shape.ts";
import type { FrameLogs } from "./frame-logs.ts";
import { type ObjectGrid, placeOf, type ShiftPx } from "./object-grid.ts";
import type { FrameView, SweepKernels } from "./sweep-kernels.ts";

/** D = c + G(x) + O(x - a) + noise, in logarithms, at one resolution. */
export interface Problem {
  readonly kernels: SweepKernels;
  readonly shape: Shape;
  readonly logs: FrameLogs;
  /** Frames that take part, as `logs` numbers them. */
  readonly frames: readonly number[];
  /** Of every frame, also of those that take no part. Changed by refinement. */
  readonly shifts: ShiftPx[];
  readonly grid: ObjectGrid;
  /** How many frames' worth of "the object is as the model says" is added to each of its pixels. */
  readonly ridge: number;
}

/** What is solved for. Arrays belong to the problem's kernels. */
export interface Unknowns {
  /** c of every frame. */
  readonly levels: Float64Array;
  /** G, [heightPx, widthPx]. */
  readonly gain: Float32Array;
  /** O, on the grid. */
  readonly object: Float32Array;
}

/** Σw over frames for each pixel of gain and object, and over pixels for each frame. */
export interface Counts {
  readonly gain: Float32Array;
  readonly object: Float32Array;
  readonly frame: Float64Array;
}

export function viewOf(problem: Problem, frameIndex: number): FrameView {
  return {
    logs: problem.logs.get(frameIndex),
    widthPx: problem.shape.widthPx,
    heightPx: problem.shape.heightPx,
    place: placeOf(problem.grid, problem.shifts[frameIndex]!),
    gridWidthPx: problem.grid.widthPx,
  };
}

export function* countValues(problem: Problem, counts: Counts): Generator<void> {
  counts.gain.fill(0);
  counts.object.fill(0);
  for (const frameIndex of problem.frames) {
    counts.frame[frameIndex] = problem.kernels.count(viewOf(problem, frameIndex), counts.gain, counts.object);
    yield;
  }
}
