import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { Circle, PointPx } from "./circle-fit.ts";
import { type CircleFit, fitCircleGeometric, type RadiusPrior } from "./circle-geometric.ts";

export interface TrimmedCircle extends CircleFit {
  /** The points that were kept. */
  readonly kept: readonly PointPx[];
}

/**
 * Geometric fit that drops points off by more than 3 sigma (from the median absolute deviation), 5 rounds.
 * @param options.floorPx scatter below which nothing is dropped
 * @returns undefined when fewer than `countMin` points remain
 */
export function fitCircleTrimmed(
  points: readonly PointPx[],
  options: { prior?: RadiusPrior; start?: Circle; countMin?: number; floorPx?: number } = {},
): TrimmedCircle | undefined {
  const { prior, countMin = 3, floorPx = 0.05 } = options;
  let start = options.start;
  let kept = points;
  let sdPx = 1;
  for (let round = 0; ; round++) {
    if (kept.length < countMin) return undefined;
    const fit = fitCircleGeometric(kept, { pointSdPx: sdPx, prior, start });
    if (!fit) return undefined;
    const offPx = points.map(({ xPx, yPx }) => Math.hypot(xPx - fit.xPx, yPx - fit.yPx) - fit.radiusPx);
    const keptSet = new Set(kept);
    sdPx = Math.max(floorPx, medianAndSigma(offPx.filter((_, i) => keptSet.has(points[i]!)))!.sigma);
    const next = points.filter((_, i) => Math.abs(offPx[i]!) <= 3 * sdPx);
    if (round === 5 || next.length === kept.length) return { ...fit, kept };
    kept = next;
    start = fit;
  }
}
