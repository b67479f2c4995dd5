import { coarseCorrection } from "./coarse-correction.ts";
import type { CoarseOutcome, CoarseWork } from "./coarse-work.ts";
import { fullSweeps, type SweepSums } from "./full-sweeps.ts";
import { addSecond, sharedDoubles } from "./part-sums.ts";
import { bandRows, partCount, type SolutionArrays } from "./passes.ts";
import { type Counts, countValues, type Problem, viewsOf } from "./problem.ts";

const sweepsPerRound = 4;

/** What a round needs besides the unknowns; the same for all rounds. */
export interface RoundWork {
  /** After a round `sums.gain` holds Σ w q² of each pixel. */
  readonly sums: SweepSums;
  /** What the object is drawn to. */
  readonly model: Float32Array;
  readonly coarse: CoarseWork;
  /** Filled in: root mean square of what a frame leaves over, in logarithms. */
  readonly residualRms: Float64Array;
}

/**
 * Large scales at a quarter of the resolution, then sweeps at the full one, with shifts and weights held.
 * @param least norm of coarse residuals below which there is nothing left to do there
 */
export function* solveRound(
  problem: Problem,
  unknowns: SolutionArrays,
  counts: Counts,
  work: RoundWork,
  least: number,
): Generator<void, CoarseOutcome> {
  const { sums, model, residualRms } = work;
  const coarse = { scratch: sums.gain, work: work.coarse, least };
  const outcome = yield* coarseCorrection(problem, unknowns, model, coarse);
  yield* countValues(problem, counts, sums.objects[1]);
  yield* fullSweeps(problem, unknowns, counts, { sums, model, sweeps: sweepsPerRound });
  const squares = { pixels: sums.gain, frames: sharedDoubles(residualRms.length) };
  yield* problem.work.run("sumSquares", { views: viewsOf(problem), unknowns, ...squares }, partCount);
  const ofFrames = addSecond(squares.frames);
  for (const frameIndex of problem.frames)
    residualRms[frameIndex] = Math.sqrt(ofFrames[frameIndex]! / Math.max(1, counts.frame[frameIndex]!));
  return outcome;
}

/** About how many pauses a round makes, of equal length. */
export function stepsPerRound(shape: Problem["shape"]): number {
  return stepsPerSweep(shape) * (2 * sweepsPerRound + 4);
}

/** How many pauses one way through all frames makes. */
export function stepsPerSweep({ widthPx, heightPx }: Problem["shape"]): number {
  return Math.ceil(heightPx / bandRows(widthPx));
}
