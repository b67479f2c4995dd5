import { forEachView, type Problem, type Unknowns } from "./problem.ts";

const stepMostPx = 1;

/**
 * One step of each frame's shift along the gradient of the object as the frame sees it.
 * @param limit residuals are limited to ± this: an active region that changed must not pull
 * @returns the largest step [px]
 * Source: B. D. Lucas and T. Kanade, Proc. Int. Joint Conf. Artificial Intelligence (1981) 674.
 */
export function* refineShifts(problem: Problem, unknowns: Unknowns, limit: number): Generator<void, number> {
  let largest = 0;
  const sums = problem.shifts.map(() => ({ rx: 0, ry: 0, xx: 0, xy: 0, yy: 0 }));
  yield* forEachView(problem, (view, frameIndex, { startPx, endPx }) => {
    const gain = unknowns.gain.subarray(startPx, endPx);
    const level = unknowns.levels[frameIndex]!;
    const part = problem.kernels.shiftSums(view, level, gain, unknowns.object, limit);
    const sum = sums[frameIndex]!;
    for (const key of ["rx", "ry", "xx", "xy", "yy"] as const) sum[key] += part[key];
  });
  for (const frameIndex of problem.frames) {
    const { rx, ry, xx, xy, yy } = sums[frameIndex]!;
    const determinant = xx * yy - xy * xy;
    if (!(determinant > 1e-12 * (xx + yy) ** 2)) continue; // no structure in one direction
    const x = -(yy * rx - xy * ry) / determinant;
    const y = -(xx * ry - xy * rx) / determinant;
    const length = Math.hypot(x, y);
    const factor = length > stepMostPx ? stepMostPx / length : 1;
    const shift = problem.shifts[frameIndex]!;
    problem.shifts[frameIndex] = { x: shift.x + factor * x, y: shift.y + factor * y };
    largest = Math.max(largest, factor * length);
  }
  return largest;
}
