import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";

/** A point of a picture. */
export interface PlanePoint {
  readonly x: number;
  readonly y: number;
  readonly value: number;
  /** Its weight beside the robust one. */
  readonly taper: number;
}

/** value = mean + x · x + y · y */
export interface Plane {
  readonly mean: number;
  readonly x: number;
  readonly y: number;
}

/**
 * Plane by Tukey's weights, cut at so many times 1.4826 median absolute deviations, 12 rounds.
 * @returns `undefined` if the points lie on a line
 * Source: A. E. Beaton and J. W. Tukey, Technometrics 16 (1974) 147 (from memory).
 */
export function robustPlane(points: readonly PlanePoint[], cutSigmas: number): Plane | undefined {
  let weights: Float64Array = new Float64Array(points.length).fill(1);
  let plane: Plane | undefined;
  for (let round = 0; round < 12; round++) {
    plane = weightedPlane(points, weights);
    if (!plane) return undefined;
    const { mean, x, y } = plane;
    const residuals = mapInto(
      new Float64Array(points.length),
      points,
      (point) => point.value - mean - x * point.x - y * point.y,
    );
    weights = tukeyWeights(residuals, cutSigmas);
  }
  return plane;
}

export function tukeyWeights(residuals: Float64Array, cutSigmas: number): Float64Array<ArrayBuffer> {
  const spread = medianAndSigma(residuals);
  const cut = cutSigmas * (spread?.sigma || Number.POSITIVE_INFINITY);
  const middle = spread?.median ?? 0;
  return mapInto(new Float64Array(residuals.length), residuals, (residual) => {
    const share = (residual - middle) / cut;
    return Math.abs(share) < 1 ? (1 - share * share) ** 2 : 0;
  });
}

function weightedPlane(points: readonly PlanePoint[], weights: Float64Array): Plane | undefined {
  const sums = new Float64Array(9);
  points.forEach(({ x, y, value, taper }, i) => {
    const w = weights[i]! * taper;
    const terms = [w, w * x, w * y, w * x * x, w * x * y, w * y * y, w * value, w * value * x, w * value * y];
    for (let k = 0; k < 9; k++) sums[k]! += terms[k]!;
  });
  const [s, sx, sy, sxx, sxy, syy, sv, svx, svy] = sums as unknown as number[];
  const mx = sx! / s!;
  const my = sy! / s!;
  const mv = sv! / s!;
  const [xx, xy, yy] = [sxx! - sx! * mx, sxy! - sx! * my, syy! - sy! * my];
  const [vx, vy] = [svx! - sx! * mv, svy! - sy! * mv];
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return undefined;
  const x = (yy * vx - xy * vy) / determinant;
  const y = (xx * vy - xy * vx) / determinant;
  return { mean: mv - x * mx - y * my, x, y };
}
