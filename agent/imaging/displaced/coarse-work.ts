import type { Shape } from "../numerics/shape.ts";
import { FrameLogsInMemory } from "./frame-logs.ts";
import type { ObjectGrid } from "./object-grid.ts";
import { bandRowStep, type SolutionArrays } from "./passes.ts";
import type { Counts, Problem } from "./problem.ts";
import type { SweepKernels } from "./sweep-kernels.ts";

/** Side of the blocks that are one pixel of a coarse solution [px]. */
export const coarseSidePx = bandRowStep;

export interface CoarseOutcome {
  readonly iterations: number;
  /** Norm of the residuals that it ended at: going below it again, after shifts moved a little, gains nothing. */
  readonly reached: number;
}

/** What a coarse solution needs of the kernels' memory; the same for all rounds. */
export class CoarseWork {
  readonly shape: Shape;
  readonly grid: ObjectGrid;
  readonly correction: SolutionArrays;
  readonly residual: SolutionArrays;
  readonly direction: SolutionArrays;
  readonly product: SolutionArrays;
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
    const vector = (): SolutionArrays => ({
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
  return { widthPx: Math.floor(widthPx / coarseSidePx), heightPx: Math.floor(heightPx / coarseSidePx) };
}

function coarseGrid(grid: ObjectGrid): ObjectGrid {
  return {
    originX: grid.originX / coarseSidePx,
    originY: grid.originY / coarseSidePx,
    widthPx: Math.ceil(grid.widthPx / coarseSidePx) + 1,
    heightPx: Math.ceil(grid.heightPx / coarseSidePx) + 1,
  };
}
