import type { Shape } from "../numerics/shape.ts";
import type { ObjectGrid, ShiftPx } from "./object-grid.ts";
import { addSecond, addSecondFloats, sharedDoubles } from "./part-sums.ts";
import { partCount, type SeriesViews } from "./passes.ts";
import type { TaskPool } from "./piece-work.ts";
import type { Scale } from "./task-tools.ts";

/** D = c + G(x) + O(x - a) + noise, in logarithms, at one resolution. */
export interface Problem {
  /** Does the passes through the frames, whose logarithms it has at hand. */
  readonly work: TaskPool;
  readonly scale: Scale;
  readonly shape: Shape;
  /** Frames that take part, as their logarithms are numbered. */
  readonly frames: readonly number[];
  /** Of every frame, also of those that take no part. Changed by refinement. */
  readonly shifts: ShiftPx[];
  /** What every frame counts, against 1 for a usual one. */
  readonly weights: Float64Array;
  readonly grid: ObjectGrid;
  /** How many frames' worth of "the object is as the model says" is added to each of its pixels. */
  readonly ridge: number;
}

/** Σw over frames for each pixel of gain and object, and over pixels for each frame; w as `weights` says, 0 without a value. */
export interface Counts {
  readonly gain: Float32Array;
  readonly object: Float32Array;
  readonly frame: Float64Array;
}

export function viewsOf({ scale, shape, frames, shifts, weights, grid }: Problem): SeriesViews {
  return { scale, shape, frames, shifts, weights, grid };
}

/** @param spareObject as large as the object, for the second part's sum */
export function* countValues(problem: Problem, counts: Counts, spareObject: Float32Array): Generator<void> {
  const { gain, object, frame } = counts;
  const frames = sharedDoubles(frame.length);
  const objects = [object, spareObject] as const;
  yield* problem.work.run("addWeights", { views: viewsOf(problem), gain, objects, frames }, partCount);
  addSecondFloats(objects);
  frame.set(addSecond(frames));
}
