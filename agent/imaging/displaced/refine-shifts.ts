import { addSecond, sharedDoubles } from "./part-sums.ts";
import { partCount, type SolutionArrays, shiftSumsOf } from "./passes.ts";
import { type Problem, viewsOf } from "./problem.ts";

const stepMostPx = 1;

/**
 * One step of each frame's shift along the gradient of the object as the frame sees it.
 * @param limit residuals are limited to ± this: an active region that changed must not pull
 * @returns root mean square of the steps, an axis [px]
 * Source: B. D. Lucas and T. Kanade, Proc. Int. Joint Conf. Artificial Intelligence (1981) 674.
 */
export function* refineShifts(
  problem: Problem,
  unknowns: SolutionArrays,
  limit: number,
): Generator<void, number> {
  let [squares, count] = [0, 0];
  const sums = sharedDoubles(shiftSumsOf * problem.shifts.length);
  yield* problem.work.run("shiftSums", { views: viewsOf(problem), unknowns, limit, sums }, partCount);
  const all = addSecond(sums);
  for (const frameIndex of problem.frames) {
    const ofFrame = all.subarray(shiftSumsOf * frameIndex, shiftSumsOf * (frameIndex + 1));
    const [rx, ry, xx, xy, yy] = ofFrame as unknown as [number, number, number, number, number];
    const determinant = xx * yy - xy * xy;
    if (!(determinant > 1e-12 * (xx + yy) ** 2)) continue; // no structure in one direction
    const x = -(yy * rx - xy * ry) / determinant;
    const y = -(xx * ry - xy * rx) / determinant;
    const length = Math.hypot(x, y);
    const factor = length > stepMostPx ? stepMostPx / length : 1;
    const shift = problem.shifts[frameIndex]!;
    problem.shifts[frameIndex] = { x: shift.x + factor * x, y: shift.y + factor * y };
    squares += (factor * length) ** 2;
    count++;
  }
  return Math.sqrt(squares / Math.max(1, 2 * count));
}
