import { type CoarseOutcome, type CoarseWork, coarseSidePx as side } from "./coarse-work.ts";
import { conjugateGradients } from "./conjugate-gradients.ts";
import { partCount, type SolutionArrays } from "./passes.ts";
import { type Problem, viewsOf } from "./problem.ts";
import { addUpsampled, binMean } from "./resample.ts";

/**
 * Large scales converge slowly in sweeps: what is left of the frames is binned, solved at a quarter of the resolution
 * by conjugate gradients, and the correction interpolated back.
 * @param use.scratch as long as the gain; `work.logs` must be at hand
 * @param least norm of the residuals below which there is nothing left to do
 */
export function* coarseCorrection(
  problem: Problem,
  unknowns: SolutionArrays,
  model: Float32Array,
  use: { readonly scratch: Float32Array; readonly work: CoarseWork; readonly least: number },
): Generator<void, CoarseOutcome> {
  const { scratch, work } = use;
  const binning = { views: viewsOf(problem), unknowns, scratch, coarse: work.shape };
  yield* problem.work.run("binResiduals", binning, partCount);
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
