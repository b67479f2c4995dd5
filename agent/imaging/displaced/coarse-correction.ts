import type { Shape } from "../numerics/shape.ts";
import { conjugateGradients } from "./conjugate-gradients.ts";
import { FrameLogsInMemory, logUnit, noLog } from "./frame-logs.ts";
import type { ObjectGrid } from "./object-grid.ts";
import { bandRowStep, type Counts, forEachView, type Problem, type Unknowns } from "./problem.ts";
import { addUpsampled, binMean } from "./resample.ts";
import type { FrameView } from "./sweep-kernels.ts";

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
  readonly logs = new FrameLogsInMemory();

  /** How many numbers in how many arrays the kernels are asked for. */
  static room(shape: Shape, grid: ObjectGrid): { arrays: number; floats: number } {
    const [small, smallGrid] = [coarseShape(shape), coarseGrid(grid)];
    const px = small.widthPx * small.heightPx + smallGrid.widthPx * smallGrid.heightPx;
    return { arrays: 10, floats: 5 * px };
  }

  constructor({ kernels, shape, grid }: Pick<Problem, "kernels" | "shape" | "grid">, frameCount: number) {
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
 * @param scratch as long as the gain
 * @param least norm of the residuals below which there is nothing left to do
 */
export function* coarseCorrection(
  problem: Problem,
  unknowns: Unknowns,
  model: Float32Array,
  use: { readonly scratch: Float32Array; readonly work: CoarseWork; readonly least: number },
): Generator<void, CoarseOutcome> {
  const { scratch, work } = use;
  const { logs } = work;
  const smallPx = work.shape.widthPx * work.shape.heightPx;
  const empty = new Int16Array(smallPx);
  for (const frameIndex of problem.frames) logs.put(frameIndex, empty);
  yield* forEachView(problem, (view, frameIndex, { startRow, startPx, endPx }) => {
    const [gain, residuals] = [unknowns.gain.subarray(startPx, endPx), scratch.subarray(startPx, endPx)];
    residuals.fill(0);
    // The coarse problem weighs frames itself.
    const unweighted = { ...view, weight: 1 };
    problem.kernels.gather(unweighted, unknowns.levels[frameIndex]!, gain, unknowns.object, residuals);
    const startSmall = (startRow / side) * work.shape.widthPx;
    binResiduals(view, residuals, logs.get(frameIndex, startSmall, smallPx));
  });
  const coarse: Problem = {
    ...problem,
    logs,
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

/** Means of residuals in blocks, in units of `logUnit`; a block with less than half of its pixels has none. */
function binResiduals(
  { logs, widthPx, heightPx }: FrameView,
  residuals: Float32Array,
  binned: Int16Array,
): void {
  const width = Math.floor(widthPx / side);
  const height = Math.floor(heightPx / side);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      let sum = 0;
      let count = 0;
      for (let row = 0; row < side; row++) {
        const from = (y * side + row) * widthPx + x * side;
        for (let k = from; k < from + side; k++) {
          if (logs[k]! === noLog) continue;
          sum += residuals[k]!;
          count++;
        }
      }
      const units = Math.round(sum / count / logUnit);
      binned[y * width + x] =
        2 * count < side * side ? noLog : units < -32767 ? -32767 : units > 32767 ? 32767 : units;
    }
  }
}
