import { leastSquares } from "./linear-solve.ts";

export interface PlaneFit {
  readonly mean: number;
  /** Change per unit of x and of y. */
  readonly slopeX: number;
  readonly slopeY: number;
  /** One sigma of a slope, from `sigma` of the values. */
  readonly slopeXSigma: number;
  readonly slopeYSigma: number;
}

/**
 * Plane through points; x and y should be centred.
 * @param sigma one sigma of each value
 * @returns `undefined` when the points lie on a line
 */
export function fitPlane(
  points: readonly { readonly x: number; readonly y: number; readonly value: number }[],
  sigma: number,
): PlaneFit | undefined {
  const fit = leastSquares(
    points.map(({ x, y }) => [1, x, y]),
    points.map(({ value }) => value),
  );
  if (!fit) return undefined;
  return {
    mean: fit.solution[0]!,
    slopeX: fit.solution[1]!,
    slopeY: fit.solution[2]!,
    slopeXSigma: sigma * Math.sqrt(fit.inverse[4]!),
    slopeYSigma: sigma * Math.sqrt(fit.inverse[8]!),
  };
}
