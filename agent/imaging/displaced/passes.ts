import type { Shape } from "../numerics/shape.ts";
import { binResidualFrames } from "./bin-left-over.ts";
import { HalvesTotals, QuarterSums } from "./halves-totals.ts";
import { framePlace, type ObjectGrid, type ShiftPx } from "./object-grid.ts";
import type { FrameView } from "./sweep-kernels.ts";
import type { Scale, TaskContext } from "./task-tools.ts";

/** A way through all frames is made in two parts, upper and lower rows, whether there are two threads or not. */
export const partCount = 2;

/** A sum for each part, to be added in the end: [object's grid], or one number for each frame. */
export type PartSums<Numbers extends Float32Array | Float64Array> = readonly [Numbers, Numbers];

/** What a pass goes through. Plain data. */
export interface SeriesViews {
  readonly scale: Scale;
  readonly shape: Shape;
  readonly frames: readonly number[];
  readonly shifts: readonly ShiftPx[];
  readonly weights: Float64Array;
  readonly grid: ObjectGrid;
}

/** What is solved for. Arrays belong to the problem's kernels. */
export interface SolutionArrays {
  /** c of every frame. */
  readonly levels: Float64Array;
  /** G, [heightPx, widthPx]. */
  readonly gain: Float32Array;
  /** O, on the grid. */
  readonly object: Float32Array;
}

/** Rows of a frame, so few that what the frames have in common there stays in the processor's cache. */
interface Band {
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

/** The first row of the lower part. */
function middleRow(heightPx: number): number {
  return bandRowStep * Math.round(heightPx / 2 / bandRowStep);
}

function rowsOf({ heightPx }: Shape, part: number): { readonly from: number; readonly to: number } {
  const middle = Math.min(middleRow(heightPx), heightPx);
  return part === 0 ? { from: 0, to: middle } : { from: middle, to: heightPx };
}

/** A part's pixels of an array over the frame. */
function ownPx(values: Float32Array, { shape }: SeriesViews, part: number): Float32Array {
  const { from, to } = rowsOf(shape, part);
  return values.subarray(from * shape.widthPx, to * shape.widthPx);
}

/** Visits every frame's part of one band, then the next band; pauses between. */
function* forEachView(
  tools: TaskContext,
  { scale, shape, frames, shifts, weights, grid }: SeriesViews,
  part: number,
  visit: (view: FrameView, frameIndex: number, band: Band) => void,
): Generator<void> {
  const logs = tools.logs[scale]!;
  const { widthPx } = shape;
  const rows = bandRows(widthPx);
  const { from, to } = rowsOf(shape, part);
  for (let startRow = from; startRow < to; startRow += rows) {
    const rowCount = Math.min(rows, to - startRow);
    const band = { startRow, startPx: startRow * widthPx, endPx: (startRow + rowCount) * widthPx };
    for (const frameIndex of frames) {
      const place = framePlace(grid, shifts[frameIndex]!);
      const view = {
        logs: logs.get(frameIndex, band.startPx, band.endPx),
        widthPx,
        heightPx: rowCount,
        weight: weights[frameIndex]!,
        place: { ...place, index: place.index + startRow * grid.widthPx },
        gridWidthPx: grid.widthPx,
      };
      visit(view, frameIndex, band);
    }
    yield;
  }
}

/** Weights of each pixel of gain and object, and of each frame. */
export function* addWeights(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly gain: Float32Array;
    readonly objects: PartSums<Float32Array>;
    readonly frames: PartSums<Float64Array>;
  },
  part: number,
): Generator<void> {
  const { views, gain } = about;
  const [object, frames] = [about.objects[part]!, about.frames[part]!];
  for (const sum of [ownPx(gain, views, part), object, frames]) sum.fill(0);
  yield* forEachView(tools, views, part, (view, frameIndex, { startPx, endPx }) => {
    frames[frameIndex]! += tools.kernels!.count(view, gain.subarray(startPx, endPx), object);
  });
}

/** What frames, their levels and the gain say of the object. */
export function* sumObject(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly levels: Float64Array;
    readonly gain: Float32Array;
    readonly objects: PartSums<Float32Array>;
  },
  part: number,
): Generator<void> {
  const { views, levels, gain } = about;
  const object = about.objects[part]!;
  object.fill(0);
  yield* forEachView(tools, views, part, (view, frameIndex, { startPx, endPx }) => {
    tools.kernels!.scatter(view, levels[frameIndex]!, gain.subarray(startPx, endPx), object);
  });
}

interface AboutResiduals {
  readonly views: SeriesViews;
  readonly unknowns: SolutionArrays;
  /** Of each pixel, over the frames. */
  readonly pixels: Float32Array;
  /** Of each frame, over the pixels. */
  readonly frames: PartSums<Float64Array>;
}

/** Residuals, summed. */
export function sumResiduals(tools: TaskContext, about: AboutResiduals, part: number): Generator<void> {
  return residuals(tools, about, part, "gather");
}

/** Squares of the residuals, summed. */
export function sumSquares(tools: TaskContext, about: AboutResiduals, part: number): Generator<void> {
  return residuals(tools, about, part, "squares");
}

function* residuals(
  tools: TaskContext,
  about: AboutResiduals,
  part: number,
  loop: "gather" | "squares",
): Generator<void> {
  const { views, unknowns, pixels } = about;
  const frames = about.frames[part]!;
  for (const sum of [ownPx(pixels, views, part), frames]) sum.fill(0);
  yield* forEachView(tools, views, part, (view, frameIndex, { startPx, endPx }) => {
    const [gain, sum] = [unknowns.gain.subarray(startPx, endPx), pixels.subarray(startPx, endPx)];
    frames[frameIndex]! += tools.kernels![loop](
      view,
      unknowns.levels[frameIndex]!,
      gain,
      unknowns.object,
      sum,
    );
  });
}

/** The normal equations' product, or their right-hand side. */
export function* applyNormalEquations(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly factors: { readonly data: 0 | 1; readonly sign: 1 | -1 };
    readonly unknowns: SolutionArrays;
    readonly gain: Float32Array;
    readonly objects: PartSums<Float32Array>;
    readonly frames: PartSums<Float64Array>;
  },
  part: number,
): Generator<void> {
  const { views, factors, unknowns } = about;
  const [object, frames] = [about.objects[part]!, about.frames[part]!];
  for (const sum of [ownPx(about.gain, views, part), object, frames]) sum.fill(0);
  yield* forEachView(tools, views, part, (view, frameIndex, { startPx, endPx }) => {
    const [gain, level] = [unknowns.gain.subarray(startPx, endPx), unknowns.levels[frameIndex]!];
    const sums = { gain: about.gain.subarray(startPx, endPx), object };
    frames[frameIndex]! += tools.kernels!.normal(view, factors, level, gain, unknowns.object, sums);
  });
}

/** Of each frame, in `ShiftSums`' order. */
export const shiftSumsOf = 5;

/** @param about.sums of each part, five numbers for each frame */
export function* shiftSums(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly unknowns: SolutionArrays;
    readonly limit: number;
    readonly sums: PartSums<Float64Array>;
  },
  part: number,
): Generator<void> {
  const { views, unknowns, limit } = about;
  const sums = about.sums[part]!;
  sums.fill(0);
  yield* forEachView(tools, views, part, (view, frameIndex, { startPx, endPx }) => {
    const [gain, level] = [unknowns.gain.subarray(startPx, endPx), unknowns.levels[frameIndex]!];
    const { rx, ry, xx, xy, yy } = tools.kernels!.shiftSums(view, level, gain, unknowns.object, limit);
    for (const [k, value] of [rx, ry, xx, xy, yy].entries()) sums[shiftSumsOf * frameIndex + k]! += value;
  });
}

/** What the solution leaves of each frame, binned into the coarse logarithms. @param about.scratch as long as the gain */
export function* binResiduals(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly unknowns: SolutionArrays;
    readonly scratch: Float32Array;
    readonly coarse: Shape;
  },
  part: number,
): Generator<void> {
  const { views, unknowns, scratch, coarse } = about;
  yield* forEachView(tools, views, part, (view, frameIndex, { startRow, startPx, endPx }) => {
    const [gain, left] = [unknowns.gain.subarray(startPx, endPx), scratch.subarray(startPx, endPx)];
    left.fill(0);
    // The coarse problem weighs frames itself.
    tools.kernels!.gather({ ...view, weight: 1 }, unknowns.levels[frameIndex]!, gain, unknowns.object, left);
    const startSmall = (startRow / bandRowStep) * coarse.widthPx;
    const into = tools.logs.coarse!.get(frameIndex, startSmall, coarse.widthPx * coarse.heightPx);
    binResidualFrames(view, left, bandRowStep, into);
  });
}

/**
 * Residuals of the quarters of the series, band by band.
 * @param about.squares Σ w q² of each pixel; `scratch` as large as the object
 */
export function* sumQuarters(
  tools: TaskContext,
  about: {
    readonly views: SeriesViews;
    readonly unknowns: SolutionArrays;
    readonly squares: Float32Array;
    readonly sums: readonly [Float32Array, Float32Array];
    readonly scratch: PartSums<Float32Array>;
    readonly totals: PartSums<Float64Array>;
  },
  part: number,
): Generator<void> {
  const { views, unknowns } = about;
  const kernels = tools.kernels!;
  const scratch = about.scratch[part]!;
  const sums = new QuarterSums(about.sums[part]!);
  const totals = new HalvesTotals(views.shape, about.totals[part]!);
  totals.clear();
  const placeOfFrame = new Map(views.frames.map((frameIndex, k) => [frameIndex, k]));
  let band: Band | undefined;
  yield* forEachView(tools, views, part, (view, frameIndex, ofView) => {
    const { startPx, endPx } = ofView;
    if (band?.startPx !== startPx) {
      if (band) totals.add(sums, about.squares, band);
      sums.clear();
      band = ofView;
    }
    const k = placeOfFrame.get(frameIndex)!;
    const quarter = (k < views.frames.length / 2 ? 0 : 2) + (k % 2);
    const gain = unknowns.gain.subarray(startPx, endPx);
    const { residuals, weights } = sums.of(quarter, endPx - startPx);
    kernels.gather(view, unknowns.levels[frameIndex]!, gain, unknowns.object, residuals);
    kernels.count(view, weights, scratch);
  });
  if (band) totals.add(sums, about.squares, band);
}
