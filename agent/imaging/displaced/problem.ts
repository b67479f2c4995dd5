import type { Shape } from "../numerics/shape.ts";
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
  /** What every frame counts, against 1 for a usual one. */
  readonly weights: Float64Array;
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

/** Σw over frames for each pixel of gain and object, and over pixels for each frame; w as `weights` says, 0 without a value. */
export interface Counts {
  readonly gain: Float32Array;
  readonly object: Float32Array;
  readonly frame: Float64Array;
}

/** Rows of a frame, so few that what the frames have in common there stays in the processor's cache. */
export interface Band {
  readonly startRow: number;
  readonly startPx: number;
  readonly endPx: number;
}

const bandPx = 65536;
/** Bands begin at multiples of this. */
export const bandRowStep = 4;

export function bandRows(widthPx: number): number {
  return bandRowStep * Math.max(1, Math.floor(bandPx / (bandRowStep * widthPx)));
}

/** Visits every frame's part of one band, then the next band; pauses between. */
export function* forEachView(
  problem: Problem,
  visit: (view: FrameView, frameIndex: number, band: Band) => void,
): Generator<void> {
  const { shape, frames, logs, grid } = problem;
  const { widthPx, heightPx } = shape;
  const rows = bandRows(widthPx);
  for (let startRow = 0; startRow < heightPx; startRow += rows) {
    const rowCount = Math.min(rows, heightPx - startRow);
    const band = { startRow, startPx: startRow * widthPx, endPx: (startRow + rowCount) * widthPx };
    for (const frameIndex of frames) {
      const place = placeOf(grid, problem.shifts[frameIndex]!);
      const view = {
        logs: logs.get(frameIndex, band.startPx, band.endPx),
        widthPx,
        heightPx: rowCount,
        weight: problem.weights[frameIndex]!,
        place: { ...place, index: place.index + startRow * grid.widthPx },
        gridWidthPx: grid.widthPx,
      };
      visit(view, frameIndex, band);
    }
    yield;
  }
}

export function* countValues(problem: Problem, counts: Counts): Generator<void> {
  counts.gain.fill(0);
  counts.object.fill(0);
  counts.frame.fill(0);
  yield* forEachView(problem, (view, frameIndex, { startPx, endPx }) => {
    const gainCount = counts.gain.subarray(startPx, endPx);
    counts.frame[frameIndex]! += problem.kernels.count(view, gainCount, counts.object);
  });
}
