import type { Shape } from "../numerics/shape.ts";
import { conjugateGradients } from "./conjugate-gradients.ts";
import { FrameLogsInMemory } from "./frame-logs.ts";
import type { ObjectGrid } from "./object-grid.ts";
import { bandRowStep, partCount, type Unknowns } from "./passes.ts";
import { type Counts, type Problem, viewsOf } from "./problem.ts";
import { addUpsampled, binMean } from "./resample.ts";
import type { SweepKernels } from "./sweep-kernels.ts";

const side = bandRowStep;

export interface CoarseOutcome {
  readonly iterations: number;
  /** Norm of the residuals that it ended at: going below it again, after shifts moved a little, gains nothing. */
  readonly reached: number;
}

/** What a coarse solution needs of the kernels' memory; the same for all rounds. */
export class CoarseWork {
  readonly shape: Shape;
  readonly grid: ObjectGrid;
  readonly correction: Unknowns;
  readonly residual: Unknowns;
  readonly direction: Unknowns;
  readonly product: Unknowns;
  readonly counts: Counts;
  /** For the second part's sums. */
  readonly spareObject: Float32Array;
  readonly logs = new FrameLogsInMemory();

  /** How many numbers in how many arrays the kernels are asked for. */
  static room(shape: Shape, grid: ObjectGrid): { arrays: number; floats: number } {
    const [small, smallGrid] = [coarseShape(shape), coarseGrid(grid)];
    const gridPx = smallGrid.widthPx * smallGrid.heightPx;
    return { arrays: 11, floats: 5 * small.widthPx * small.heightPx + 6 * gridPx };
  }

  /** @param frames those that there is room for in `logs` */
  constructor(
    kernels: SweepKernels,
    { shape, grid, frames }: Pick<Problem, "shape" | "grid" | "frames">,
    frameCount: number,
  ) {
    this.shape = coarseShape(shape);
    this.grid = coarseGrid(grid);
    const px = this.shape.widthPx * this.shape.heightPx;
    const gridPx = this.grid.widthPx * this.grid.heightPx;
    const vector = (): Unknowns => ({
      levels: new Float64Array(frameCount),
      gain: kernels.floats(px),
      object: kernels.floats(gridPx),
    });
    [this.correction, this.residual, this.direction, this.product] = [vector(), vector(), vector(), vector()];
    const { levels: frame, gain, object } = vector();
    this.counts = { frame, gain, object };
    this.spareObject = kernels.floats(gridPx);
    const empty = new Int16Array(px);
    for (const frameIndex of frames) this.logs.put(frameIndex, empty);
  }
}

function coarseShape({ widthPx, heightPx }: Shape): Shape {
  return { widthPx: Math.floor(widthPx / side), heightPx: Math.floor(heightPx / side) };
}

function coarseGrid(grid: ObjectGrid): ObjectGrid {
  return {
    originX: grid.originX / side,
    originY: grid.originY / side,
    widthPx: Math.ceil(grid.widthPx / side) + 1,
    heightPx: Math.ceil(grid.heightPx / side) + 1,
  };
}

/**
 * Large scales converge slowly in sweeps: what is left of the frames is binned, solved at a quarter of the resolution
 * by conjugate gradients, and the correction interpolated back.
 * @param use.scratch as long as the gain; `work.logs` must be at hand
 * @param least norm of the residuals below which there is nothing left to do
 */
export function* coarseCorrection(
  problem: Problem,
  unknowns: Unknowns,
  model: Float32Array,
  use: { readonly scratch: Float32Array; readonly work: CoarseWork; readonly least: number },
): Generator<void, CoarseOutcome> {
  const { scratch, work } = use;
  const binning = { views: viewsOf(problem), unknowns, scratch, coarse: work.shape };
  yield* problem.work.run("binLeft", binning, partCount);
  const coarse: Problem = {
    ...problem,
    scale: "coarse",
    shape: work.shape,
    grid: work.grid,
    shifts: problem.shifts.map(({ x, y }) => ({ x: x / side, y: y / side })),
    ridge: problem.ridge / (side * side),
  };
  const fromModel = binMean(difference(unknowns.object, model), problem.grid, side, work.grid);
  const outcome = yield* conjugateGradients(coarse, work, fromModel, use.least);
  const { correction } = work;
  for (const frameIndex of problem.frames) unknowns.levels[frameIndex]! += correction.levels[frameIndex]!;
  addUpsampled(correction.gain, work.shape, side, unknowns.gain, problem.shape);
  addUpsampled(correction.object, work.grid, side, unknowns.object, problem.grid);
  return outcome;
}

function difference(a: Float32Array, b: Float32Array): Float32Array {
  const result = new Float32Array(a.length);
  for (let i = 0; i < a.length; i++) result[i] = a[i]! - b[i]!;
  return result;
}
