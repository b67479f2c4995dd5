import { invertSymmetric } from "../numerics/linear-solve.ts";
import { type Circle, fitCircleTaubin, type PointPx } from "./circle-fit.ts";

/** What is known of the radius before the fit. `sdPx` 0 holds it fixed. */
export interface RadiusPrior {
  readonly radiusPx: number;
  readonly sdPx: number;
}

export interface CircleFit extends Circle {
  /** Scatter of the points about the circle, over the degrees of freedom [px]. */
  readonly residualSdPx: number;
  /** Covariance of (x, y, radius), row-major 3 × 3 [px²]. */
  readonly covariancePx2: readonly number[];
  readonly pointCount: number;
}

/**
 * Least squares of the distances from the points to the circle, by Gauss-Newton steps with damping.
 * A radius known beforehand takes part as one more observation: short arcs cannot give centre and radius together.
 * @param pointSdPx scatter of one point, which weighs the points against the prior
 * @param start where to begin; default: Taubin's fit
 * @returns undefined when the points do not define a circle
 * Source: Gander, Golub & Strebel, BIT 34 (1994) 558 (geometric fit).
 */
export function fitCircleGeometric(
  points: readonly PointPx[],
  options: { prior?: RadiusPrior | undefined; pointSdPx?: number; start?: Circle | undefined } = {},
): CircleFit | undefined {
  const { prior, pointSdPx = 1 } = options;
  const fixed = prior?.sdPx === 0;
  if (points.length < (prior ? 2 : 3)) return undefined;
  const start = options.start ?? fitCircleTaubin(points);
  if (!start) return undefined;
  const priorWeight = prior && !fixed ? (pointSdPx / prior.sdPx) ** 2 : 0;
  let circle: Circle = fixed ? { ...start, radiusPx: prior.radiusPx } : start;
  let cost = costOf(points, circle, prior, priorWeight);
  let damping = 0;
  for (let round = 0; round < 200; round++) {
    const { normal, slope } = normalEquations(points, circle, prior, priorWeight, fixed);
    const size = fixed ? 2 : 3;
    const damped = normal.map((value, i) => (i % (size + 1) === 0 ? value * (1 + damping) : value));
    const inverse = invertSymmetric(damped, size);
    const step =
      inverse && slope.map((_, i) => slope.reduce((sum, s, j) => sum + inverse[i * size + j]! * s, 0));
    const next = step && {
      xPx: circle.xPx + step[0]!,
      yPx: circle.yPx + step[1]!,
      radiusPx: circle.radiusPx + (step[2] ?? 0),
    };
    const nextCost = next ? costOf(points, next, prior, priorWeight) : Number.POSITIVE_INFINITY;
    if (next && nextCost <= cost) {
      const moved = Math.hypot(...step);
      circle = next;
      cost = nextCost;
      damping /= 10;
      if (damping < 1e-9) damping = 0;
      if (moved < 1e-11 * (circle.radiusPx + 1)) break;
    } else {
      damping = Math.max(damping, 1e-4) * 10;
      if (damping > 1e12) break; // no step makes it better: the minimum to working precision
    }
  }
  if (!(circle.radiusPx > 0) || !Number.isFinite(cost)) return undefined;
  return withCovariance(points, circle, prior, priorWeight, fixed);
}

function costOf(
  points: readonly PointPx[],
  circle: Circle,
  prior: RadiusPrior | undefined,
  weight: number,
): number {
  let sum = prior ? weight * (circle.radiusPx - prior.radiusPx) ** 2 : 0;
  for (const { xPx, yPx } of points) {
    sum += (Math.hypot(xPx - circle.xPx, yPx - circle.yPx) - circle.radiusPx) ** 2;
  }
  return sum;
}

function normalEquations(
  points: readonly PointPx[],
  circle: Circle,
  prior: RadiusPrior | undefined,
  weight: number,
  fixed: boolean,
): { normal: number[]; slope: number[] } {
  const size = fixed ? 2 : 3;
  const normal = new Array<number>(size * size).fill(0);
  const slope = new Array<number>(size).fill(0);
  for (const { xPx, yPx } of points) {
    const dx = xPx - circle.xPx;
    const dy = yPx - circle.yPx;
    const distance = Math.hypot(dx, dy) || 1e-12; // a point in the very centre has no direction
    const row = [dx / distance, dy / distance, 1];
    for (let i = 0; i < size; i++) {
      slope[i]! += row[i]! * (distance - circle.radiusPx);
      for (let j = 0; j < size; j++) normal[i * size + j]! += row[i]! * row[j]!;
    }
  }
  if (!fixed) normal[8]! += weight;
  if (!fixed && prior) slope[2]! += weight * (prior.radiusPx - circle.radiusPx);
  return { normal, slope };
}

function withCovariance(
  points: readonly PointPx[],
  circle: Circle,
  prior: RadiusPrior | undefined,
  weight: number,
  fixed: boolean,
): CircleFit | undefined {
  const { normal } = normalEquations(points, circle, prior, weight, fixed);
  const inverse = invertSymmetric(normal, fixed ? 2 : 3);
  if (!inverse) return undefined;
  const squares = costOf(points, circle, undefined, 0);
  const freedom = Math.max(1, points.length - (prior ? 2 : 3));
  const variance = squares / freedom;
  const [xx = 0, xy = 0] = inverse;
  const covariance = fixed ? [xx, xy, 0, xy, inverse[3]!, 0, 0, 0, 0] : inverse;
  return {
    ...circle,
    residualSdPx: Math.sqrt(variance),
    covariancePx2: covariance.map((value) => value * variance),
    pointCount: points.length,
  };
}
