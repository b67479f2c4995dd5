import { medianAndSigma } from "../numerics/order-statistics.ts";
import { spansWithin } from "../numerics/pixels-within.ts";
import type { Shape } from "../numerics/shape.ts";
import type { DustCandidate } from "./dust-candidates.ts";
import type { ShadowFit } from "./dust-fit.ts";
import type { Residual } from "./dust-shadow.ts";
import { darkestFraction, shadowAt, shadowRadiusPx } from "./shadow-profile.ts";

/** Of a depth over its scatter: at first sight, while others still lie over it, and in the end. */
export const snrMin = { first: 3, last: 7 };
/** A shadow is dark in most directions while others still lie over it, and in nearly all when they have been taken out. */
export const darkShare = { first: 0.6, last: 0.85 };
/** Of a larger shadow every second or third pixel, each way, tells means as well. */
const judgedPixels = 30_000;
/** Directions in which a shadow must be darker than its surroundings. */
const sectorCount = 8;

/**
 * One sigma of the depth as its eighths tell it.
 * @param darkShare of the eighths that are in the frame, so many must be dark
 * @returns `undefined` when fewer are
 */
export function scatterAround(
  { shape, values, usePx }: Residual,
  fit: ShadowFit,
  darkShare: number,
): number | undefined {
  const inside = new Float64Array(sectorCount);
  const weight = new Float64Array(sectorCount);
  const outside = new Float64Array(sectorCount);
  const outsideCount = new Float64Array(sectorCount);
  const gap = fit.kind === "bell" ? 2 * fit.radiusPx : shadowRadiusPx(fit);
  const reachPx = Math.max(gap + 3, gap + 0.6 * fit.radiusPx);
  // Where a ring's rims run together it is nowhere as dark as its depth says.
  const half = 0.5 * darkestFraction(fit);
  const every = Math.max(1, Math.floor(Math.sqrt((Math.PI * reachPx * reachPx) / judgedPixels)));
  for (const { y, x0, x1 } of spansWithin(shape, fit.xPx, fit.yPx, reachPx, every)) {
    const dy = y - fit.yPx;
    for (let x = x0; x <= x1; x += every) {
      const i = y * shape.widthPx + x;
      if (usePx[i] !== 1) continue;
      const dx = x - fit.xPx;
      const r = Math.sqrt(dx * dx + dy * dy);
      const shade = shadowAt(r, fit);
      if (shade <= half && r <= gap) continue;
      const sector = Math.floor((Math.atan2(dy, dx) / (2 * Math.PI) + 1) * sectorCount) % sectorCount;
      if (shade > half) {
        inside[sector]! += values[i]!;
        weight[sector]! += shade;
      } else {
        outside[sector]! += values[i]!;
        outsideCount[sector]!++;
      }
    }
  }
  const outsideMean = sum(outside) / Math.max(1, sum(outsideCount));
  const depths: number[] = [];
  for (let s = 0; s < sectorCount; s++) {
    if (weight[s]! < 2) continue;
    const level = outsideCount[s]! > 2 ? outside[s]! / outsideCount[s]! : outsideMean;
    depths.push(level - inside[s]! / weight[s]!);
  }
  const dark = depths.filter((depth) => depth > 0.3 * fit.depth).length;
  if (depths.length < 3 || dark < darkShare * depths.length) return undefined;
  return Math.hypot(medianAndSigma(depths)!.sigma / Math.sqrt(depths.length), fit.depthSigma);
}

/** How much the light rises over a rim: mean of the ring outside (to 1.4 radii) less mean of that inside (from 0.6). */
export function stepOverRim({ shape, values, usePx }: Residual, at: DustCandidate): number {
  const radius = at.diameterPx / 2;
  let [inner, innerCount, outer, outerCount] = [0, 0, 0, 0];
  const reachPx = 1.4 * radius;
  const every = Math.max(1, Math.floor(Math.sqrt((Math.PI * reachPx * reachPx) / judgedPixels)));
  for (const { y, x0, x1 } of spansWithin(shape, at.xPx, at.yPx, reachPx, every))
    for (let x = x0; x <= x1; x += every) {
      const i = y * shape.widthPx + x;
      const r = Math.sqrt((x - at.xPx) ** 2 + (y - at.yPx) ** 2);
      if (usePx[i] !== 1 || r < 0.6 * radius) continue;
      if (r <= radius) {
        inner += values[i]!;
        innerCount++;
      } else {
        outer += values[i]!;
        outerCount++;
      }
    }
  return innerCount === 0 || outerCount === 0 ? 0 : outer / outerCount - inner / innerCount;
}

/** What lies mostly outside the frame is as likely the background's own edge. */
export function isMostlySeen({ xPx, yPx, radiusPx }: ShadowFit, { widthPx, heightPx }: Shape): boolean {
  const margin = 0.15 * radiusPx;
  return xPx > -margin && yPx > -margin && xPx < widthPx - 1 + margin && yPx < heightPx - 1 + margin;
}

/** Of less than three quarters of a shadow the background is a guess. */
export function isCutByEdge({ xPx, yPx, radiusPx }: ShadowFit, { widthPx, heightPx }: Shape): boolean {
  return Math.min(xPx, yPx, widthPx - 1 - xPx, heightPx - 1 - yPx) < radiusPx / 2;
}

function sum(values: Float64Array): number {
  return values.reduce((a, b) => a + b, 0);
}
