import { addSecond, addSecondFloats, sharedDoubles } from "./part-sums.ts";
import { type PartSums, partCount, type SolutionArrays } from "./passes.ts";
import { type Counts, type Problem, viewsOf } from "./problem.ts";

/** Sums that the sweeps need room for. */
export interface SweepSums {
  readonly gain: Float32Array;
  readonly objects: PartSums<Float32Array>;
}

/**
 * Alternating least squares: the object with gain and levels held, then gain and levels with the object held.
 * @param model what the object is drawn to by the ridge, on the grid
 * Source: J. Chae, Solar Physics 221 (2004) 1 (from memory), with a ridge.
 */
export function* fullSweeps(
  problem: Problem,
  unknowns: SolutionArrays,
  counts: Counts,
  work: { readonly sums: SweepSums; readonly model: Float32Array; readonly sweeps: number },
): Generator<void> {
  const { frames, ridge } = problem;
  const { levels, gain, object } = unknowns;
  const { sums, model } = work;
  const views = viewsOf(problem);
  const { objects } = sums;
  for (let sweep = 0; sweep < work.sweeps; sweep++) {
    yield* problem.work.run("sumObject", { views, levels, gain, objects }, partCount);
    addSecondFloats(objects);
    solveObject(object, objects[0], counts.object, model, ridge);
    const residuals = { pixels: sums.gain, frames: sharedDoubles(levels.length) };
    yield* problem.work.run("sumResiduals", { views, unknowns, ...residuals }, partCount);
    const steps = addSecond(residuals.frames);
    for (const frameIndex of frames) steps[frameIndex]! /= Math.max(1, counts.frame[frameIndex]!);
    // Levels and gain move at once; only what all levels have in common would be counted twice.
    const common = frames.reduce((total, frameIndex) => total + steps[frameIndex]!, 0) / frames.length;
    for (const frameIndex of frames) levels[frameIndex]! += steps[frameIndex]! - common;
    addMean(gain, sums.gain, counts.gain);
  }
}

function solveObject(
  object: Float32Array,
  sum: Float32Array,
  count: Float32Array,
  model: Float32Array,
  ridge: number,
): void {
  for (let i = 0; i < object.length; i++) {
    const weight = count[i]! + ridge;
    object[i] = weight > 0 ? (sum[i]! + ridge * model[i]!) / weight : 0;
  }
}

/** onto += sum / count where there is any. */
function addMean(onto: Float32Array, sum: Float32Array, count: Float32Array): void {
  for (let i = 0; i < onto.length; i++) if (count[i]! > 0) onto[i]! += sum[i]! / count[i]!;
}
