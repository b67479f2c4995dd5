import { quantile } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import type { Circle } from "./circle-fit.ts";
import { fitCircleTrimmed, type TrimmedCircle } from "./circle-trim.ts";
import { type CoarseFrame, coarseEdges, coarseFrame } from "./limb-coarse.ts";
import { type LimbPoint, limbOnRays } from "./limb-rays.ts";
import { circleByConsensus, type EdgePoint, ransacDraws } from "./ransac.ts";

/** The Sun's disc as one frame shows it. Positions from the centre of pixel (0, 0), x right, y down. */
export interface Disc extends Circle {
  /** One sigma of the centre's x and y and of the radius [px]. */
  readonly sdXPx: number;
  readonly sdYPx: number;
  readonly sdRadiusPx: number;
  /** Scatter of the limb points about the circle [px]. */
  readonly residualSdPx: number;
  /** How much of the limb the frame shows [degrees of the whole 360]. */
  readonly arcDegrees: number;
  /** Signal just inside and just outside the limb, above the pedestal [adu]. */
  readonly insideAdu: number;
  readonly outsideAdu: number;
}

/**
 * `limb`: the edge is there. `filled`: lit all over without an edge, as the inside of a large disc is.
 * `glow`: some light, neither an edge nor filled. `dark`: nothing above noise.
 */
export type Sighting =
  | ({ readonly seen: "limb"; readonly disc: Disc } & Light)
  | ({ readonly seen: "filled" | "glow" | "dark" } & Light);

/** Above the pedestal, smoothed over a few pixels [adu]. */
interface Light {
  readonly medianAdu: number;
  /** What only the brightest 0.1 % exceed. */
  readonly peakAdu: number;
}

export interface DiscSearch {
  readonly pedestalAdu: number;
  /** Signal that noise and a wandering pedestal can feign over a few pixels [adu]. */
  readonly darkBelowAdu: number;
  /** From the ephemeris and the scale. Without it any radius from 8 px to 20 frame widths will do. */
  readonly radius?: { readonly radiusPx: number; readonly toleranceFraction: number };
  /** How much the disc may depart from a circle, as a fraction of its diameter: refraction near the horizon. */
  readonly flattening?: number;
  /** Draws numbers in [0, 1). */
  readonly uniform: () => number;
}

/**
 * Looks for the Sun's limb: edges of a small picture, the circle most of them agree with, then the steepest descent
 * on rays across it at full resolution and a trimmed geometric fit. Vignetting, dust and spots have edges too,
 * but none that is dark outside along a circle of the right size.
 * @throws RangeError if the array does not fit the shape
 */
export function findDisc(pixelsAdu: Uint16Array, shape: Shape, search: DiscSearch): Sighting {
  checkShape(pixelsAdu, shape);
  const coarse = coarseFrame(pixelsAdu, shape, search.pedestalAdu);
  const [low = 0, medianAdu = 0, high = 0, peakAdu = 0] = [0.05, 0.5, 0.98, 0.999].map(
    (fraction) => quantile(coarse.signalAdu, fraction)!,
  );
  if (peakAdu < search.darkBelowAdu) return { seen: "dark", medianAdu, peakAdu };
  const disc = discAmong(coarseEdges(coarse), pixelsAdu, shape, coarse, search, peakAdu);
  if (disc) return { seen: "limb", disc, medianAdu, peakAdu };
  return { seen: low > 0.25 * high && low > search.darkBelowAdu ? "filled" : "glow", medianAdu, peakAdu };
}

/** Circles tried before giving up: a large spot or a dust shadow may win the first vote. */
const candidates = 3;

function discAmong(
  edges: readonly EdgePoint[],
  pixelsAdu: Uint16Array,
  shape: Shape,
  coarse: CoarseFrame,
  search: DiscSearch,
  peakAdu: number,
): Disc | undefined {
  const { radius, uniform, flattening = 0 } = search;
  const longSidePx = Math.max(shape.widthPx, shape.heightPx);
  const bandPx = 1.5 * coarse.factor + flattening * (radius?.radiusPx ?? longSidePx / 2);
  let left = edges;
  for (let candidate = 0; candidate < candidates; candidate++) {
    const vote = circleByConsensus(left, {
      draws: radius ? ransacDraws(0.15, 0.999, 2) : ransacDraws(0.3, 0.999, 3) * 2,
      bandPx,
      uniform,
      ...(radius ? { radius } : { radiusRangePx: { min: 8, max: 20 * longSidePx } }),
    });
    if (!vote || vote.inliers.length < 8) return undefined;
    const disc = refined(vote.circle, vote.inliers, pixelsAdu, shape, coarse.factor, search, peakAdu);
    if (disc) return disc;
    const tried = new Set(vote.inliers);
    left = left.filter((edge) => !tried.has(edge));
  }
  return undefined;
}

function refined(
  vote: Circle,
  inliers: readonly EdgePoint[],
  pixelsAdu: Uint16Array,
  shape: Shape,
  factor: number,
  search: DiscSearch,
  peakAdu: number,
): Disc | undefined {
  const prior = search.radius && {
    radiusPx: search.radius.radiusPx,
    sdPx: (search.radius.radiusPx * search.radius.toleranceFraction) / 2,
  };
  const fitting = { ...(prior ? { prior } : {}), countMin: 8 };
  let circle: Circle | undefined = fitCircleTrimmed(inliers, {
    ...fitting,
    start: vote,
    floorPx: factor / 3,
  });
  let points: LimbPoint[] = [];
  let fit: TrimmedCircle | undefined;
  const squashPx = (search.flattening ?? 0) * vote.radiusPx;
  for (const reachPx of [4 * factor + 4 + squashPx, factor + 4 + squashPx]) {
    if (!circle) return undefined;
    points = limbOnRays(pixelsAdu, shape, circle, { reachPx, pedestalAdu: search.pedestalAdu });
    const steep = steepOnes(points);
    fit = fitCircleTrimmed(steep, { ...fitting, start: circle });
    circle = fit;
  }
  return fit && convincing(fit, points, shape, search, peakAdu);
}

/** Dust and vignetting bend a stretch of limb by about this much, which the scatter of the points does not show. */
const systematicPx = 0.15;

/** Rays that crossed a real fall of light; a filament or a dark corner's noise falls less. */
function steepOnes(points: readonly LimbPoint[]): LimbPoint[] {
  const typical =
    quantile(
      points.map((point) => point.steepnessAdu),
      0.75,
    ) ?? 0;
  return points.filter((point) => point.steepnessAdu > 0.3 * typical);
}

/** A limb is dark outside, bright inside, and continuous; anything less is not taken for one. */
function convincing(
  fit: TrimmedCircle,
  points: readonly LimbPoint[],
  shape: Shape,
  search: DiscSearch,
  peakAdu: number,
): Disc | undefined {
  const kept = points.filter((point) => fit.kept.includes(point));
  if (kept.length < 30 || kept.length < 0.4 * points.length) return undefined;
  const insideAdu = quantile(
    kept.map((point) => point.insideAdu),
    0.5,
  )!;
  const outsideAdu = quantile(
    kept.map((point) => point.outsideAdu),
    0.5,
  )!;
  if (insideAdu < search.darkBelowAdu || insideAdu < 0.08 * peakAdu || outsideAdu > 0.6 * insideAdu)
    return undefined;
  const arcDegrees = coveredDegrees(kept);
  const arcPx = (arcDegrees * Math.PI * fit.radiusPx) / 180;
  if (arcPx < Math.min(60, 0.12 * Math.min(shape.widthPx, shape.heightPx))) return undefined;
  if (fit.residualSdPx > 0.05 * fit.radiusPx) return undefined;
  if (!search.radius && arcDegrees < 90) return undefined; // too little to tell its size
  if (search.radius && !near(fit.radiusPx, search.radius)) return undefined; // a ghost, or the edge of the field
  const honest = Math.max(1, systematicPx / fit.residualSdPx);
  const [xx, yy, rr] = [0, 4, 8].map((i) => Math.sqrt(fit.covariancePx2[i]!) * honest);
  return {
    xPx: fit.xPx,
    yPx: fit.yPx,
    radiusPx: fit.radiusPx,
    sdXPx: xx!,
    sdYPx: yy!,
    sdRadiusPx: rr!,
    residualSdPx: fit.residualSdPx,
    arcDegrees,
    insideAdu,
    outsideAdu,
  };
}

function near(radiusPx: number, expected: { radiusPx: number; toleranceFraction: number }): boolean {
  return Math.abs(radiusPx / expected.radiusPx - 1) <= 1.5 * expected.toleranceFraction;
}

/** Sum of the sectors of half a degree that hold a limb point. */
function coveredDegrees(points: readonly LimbPoint[]): number {
  const sectors = new Set(points.map((point) => Math.floor((point.angle * 360) / Math.PI)));
  return sectors.size / 2;
}
