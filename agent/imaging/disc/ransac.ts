import type { Circle, PointPx } from "./circle-fit.ts";
import { circleThrough } from "./circle-fit.ts";

/** An edge point with the unit direction in which the picture gets brighter. */
export interface EdgePoint extends PointPx {
  readonly towardsX: number;
  readonly towardsY: number;
}

/**
 * How many draws find a clean sample with that confidence: ln(1 - confidence) / ln(1 - w^sample), rounded up.
 * Source: Fischler & Bolles, Communications of the ACM 24 (1981) 381.
 */
export function ransacDraws(inlierFraction: number, confidence: number, sampleSize: number): number {
  return Math.ceil(Math.log(1 - confidence) / Math.log(1 - inlierFraction ** sampleSize));
}

export interface Consensus {
  readonly circle: Circle;
  readonly inliers: readonly EdgePoint[];
}

/**
 * The circle that most edge points agree with: near it, and bright on its inner side.
 * With a radius known to a fraction, two points and a radius drawn within it make a circle; without, three points do.
 * @param uniform draws numbers in [0, 1)
 */
export function circleByConsensus(
  edges: readonly EdgePoint[],
  options: {
    draws: number;
    bandPx: number;
    uniform: () => number;
    radius?: { radiusPx: number; toleranceFraction: number };
    radiusRangePx?: { min: number; max: number };
  },
): Consensus | undefined {
  const { draws, bandPx, uniform, radius, radiusRangePx } = options;
  const n = edges.length;
  if (n < 3) return undefined;
  let best: Circle | undefined;
  let bestCount = 0;
  const pick = () => edges[Math.floor(uniform() * n)]!;
  for (let draw = 0; draw < draws; draw++) {
    let circle: Circle | undefined;
    if (radius) {
      const radiusPx = radius.radiusPx * (1 + radius.toleranceFraction * (2 * uniform() - 1));
      circle = circleOfRadius(pick(), pick(), radiusPx);
    } else {
      circle = circleThrough(pick(), pick(), pick());
      const { min = 0, max = Number.POSITIVE_INFINITY } = radiusRangePx ?? {};
      if (circle && (circle.radiusPx < min || circle.radiusPx > max)) continue;
    }
    if (!circle) continue;
    let count = 0;
    for (const edge of edges) if (agrees(edge, circle, bandPx)) count++;
    if (count > bestCount) {
      best = circle;
      bestCount = count;
    }
  }
  if (!best) return undefined;
  const circle = best;
  return { circle, inliers: edges.filter((edge) => agrees(edge, circle, bandPx)) };
}

/** Of the two circles of that radius through both points, the one on the bright side of the first. */
function circleOfRadius(a: EdgePoint, b: EdgePoint, radiusPx: number): Circle | undefined {
  const dx = b.xPx - a.xPx;
  const dy = b.yPx - a.yPx;
  const chord = Math.hypot(dx, dy);
  if (chord < 2 || chord > 2 * radiusPx) return undefined;
  const height = Math.sqrt(radiusPx * radiusPx - (chord * chord) / 4);
  const side = -dy * a.towardsX + dx * a.towardsY >= 0 ? 1 : -1;
  return {
    xPx: (a.xPx + b.xPx) / 2 - (side * height * dy) / chord,
    yPx: (a.yPx + b.yPx) / 2 + (side * height * dx) / chord,
    radiusPx,
  };
}

function agrees(edge: EdgePoint, circle: Circle, bandPx: number): boolean {
  const dx = circle.xPx - edge.xPx;
  const dy = circle.yPx - edge.yPx;
  const distance = Math.sqrt(dx * dx + dy * dy); // many times faster than hypot, and this is the hot spot
  if (Math.abs(distance - circle.radiusPx) > bandPx) return false;
  return dx * edge.towardsX + dy * edge.towardsY > 0.8 * distance; // within 37 degrees of pointing inwards
}
