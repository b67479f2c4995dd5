import { type Counts, forEachView, type Problem, type Unknowns } from "./problem.ts";

/** Sums that the sweeps need room for. */
export interface SweepSums {
  readonly gain: Float32Array;
  readonly object: Float32Array;
}

/**
 * Alternating least squares: the object with gain and levels held, then gain and levels with the object held.
 * @param model what the object is drawn to by the ridge, on the grid
 * Source: J. Chae, Solar Physics 221 (2004) 1 (from memory), with a ridge.
 */
export function* fullSweeps(
  problem: Problem,
  unknowns: Unknowns,
  counts: Counts,
  work: { readonly sums: SweepSums; readonly model: Float32Array; readonly sweeps: number },
): Generator<void> {
  const { kernels, frames, ridge } = problem;
  const { levels, gain, object } = unknowns;
  const { sums, model } = work;
  for (let sweep = 0; sweep < work.sweeps; sweep++) {
    sums.object.fill(0);
    yield* forEachView(problem, (view, frameIndex, { startPx, endPx }) => {
      kernels.scatter(view, levels[frameIndex]!, gain.subarray(startPx, endPx), sums.object);
    });
    solveObject(object, sums.object, counts.object, model, ridge);
    sums.gain.fill(0);
    const steps = new Float64Array(levels.length);
    yield* forEachView(problem, (view, frameIndex, { startPx, endPx }) => {
      const [own, sum] = [gain.subarray(startPx, endPx), sums.gain.subarray(startPx, endPx)];
      const residuals = kernels.gather(view, levels[frameIndex]!, own, object, sum);
      steps[frameIndex]! += residuals / Math.max(1, counts.frame[frameIndex]!);
    });
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
