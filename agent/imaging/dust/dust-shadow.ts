import { fillInto } from "../numerics/map-into.ts";
import { median } from "../numerics/order-statistics.ts";
import { spansWithin } from "../numerics/pixels-within.ts";
import type { Shape } from "../numerics/shape.ts";
import { type FitFreedom, fitShadow, type ShadowFit } from "./dust-fit.ts";
import { isRing, type ShadowKind, shadowAt, shadowRadiusPx } from "./shadow-profile.ts";

/** ln F less its background, and less the shadows that are known. */
export interface Residual {
  readonly shape: Shape;
  readonly values: Float32Array;
  /** 1 where a pixel counts. */
  readonly usePx: Uint8Array;
}

/** A shadow with what its fit leaves over round about: together they can be taken out without a trace. */
export interface Shadow {
  readonly fit: ShadowFit;
  /** Medians of rings one `ringPx` wide, from the centre outwards. */
  readonly leftOver: readonly number[];
  readonly ringPx: number;
}

/** With nothing of what its fit leaves round about. */
export function shadowOfFit(fit: ShadowFit): Shadow {
  return { fit, leftOver: [], ringPx: Math.max(1, fit.radiusPx / 12) };
}

/** The kind that explains the pixels best; a ring or a bell only if it does so much better than a disc. */
export function fitShadowNear(
  residual: Residual,
  at: { readonly xPx: number; readonly yPx: number; readonly diameterPx: number },
  kinds: readonly ShadowKind[],
  slack: FitFreedom,
  leastDepth = 0,
): Shadow | undefined {
  const { values, usePx, shape } = residual;
  let best: ShadowFit | undefined;
  for (const kind of kinds) {
    let fit = fitShadow(values, usePx, shape, at, kind, slack);
    // The patch was cut for the size guessed; one of the size found tells more.
    if (fit && Math.abs((2 * fit.radiusPx) / at.diameterPx - 1) > 0.1)
      fit = fitShadow(values, usePx, shape, { ...fit, diameterPx: 2 * fit.radiusPx }, kind, slack) ?? fit;
    // Hopeless as one kind, hopeless as any.
    if (fit && !best && Math.abs(fit.depth) < leastDepth / 2) return undefined;
    if (!fit || (isRing(kind) && fit.holeRatio < 0.1)) continue;
    if (!best || fit.miss < best.miss * (1 - 30 / fit.pixels)) best = fit;
  }
  return best && { fit: best, ...leftOver(residual, best) };
}

/** Steps of a shadow's table, parts of a ring and of its rim: linear in between is right to a thousandth of the depth. */
const tableSteps = { ring: 4, edge: 16, bell: 64 };

/** Adds (`sign` 1) what the shadow has taken, or takes it again (-1). */
export function addShadow({ shape, values }: Residual, shadow: Shadow, sign: 1 | -1): void {
  const { fit, leftOver, ringPx } = shadow;
  const reachPx = Math.max(shadowRadiusPx(fit), leftOver.length * ringPx);
  const rimPx = fit.kind === "bell" ? fit.radiusPx / tableSteps.bell : fit.edgePx / tableSteps.edge;
  const stepPx = Math.min(ringPx / tableSteps.ring, rimPx);
  const table = fillInto(new Float64Array(Math.ceil(reachPx / stepPx) + 2), (k) => {
    const place = (k * stepPx) / ringPx;
    const ring = Math.max(0, Math.floor(place - 0.5));
    const share = Math.min(1, Math.max(0, place - 0.5 - ring));
    const rest = (leftOver[ring] ?? 0) * (1 - share) + (leftOver[ring + 1] ?? 0) * share;
    return sign * (fit.depth * shadowAt(k * stepPx, fit) - rest);
  });
  const { widthPx } = shape;
  for (const { y, x0, x1 } of spansWithin(shape, fit.xPx, fit.yPx, reachPx)) {
    const down2 = (y - fit.yPx) ** 2;
    for (let x = x0; x <= x1; x++) {
      const dx = x - fit.xPx;
      const place = Math.sqrt(dx * dx + down2) / stepPx;
      const k = place | 0;
      values[y * widthPx + x]! += table[k]! + (place - k) * (table[k + 1]! - table[k]!);
    }
  }
}

/** Of a larger shadow every second or third pixel, each way, tells a ring's median as well. */
const ringPixels = 30_000;

/** Rings are compared with the outermost ones, and fade out towards them. */
function leftOver(
  { shape, values, usePx }: Residual,
  fit: ShadowFit,
): { leftOver: number[]; ringPx: number } {
  const reachPx = (fit.kind === "bell" ? 2.6 : 1.5) * fit.radiusPx + fit.edgePx / 2;
  const ringPx = Math.max(1, fit.radiusPx / 12);
  const rings: number[][] = Array.from({ length: Math.ceil(reachPx / ringPx) }, () => []);
  const every = Math.max(1, Math.floor(Math.sqrt((Math.PI * reachPx * reachPx) / ringPixels)));
  const { widthPx } = shape;
  for (const { y, x0, x1 } of spansWithin(shape, fit.xPx, fit.yPx, reachPx, every)) {
    const down2 = (y - fit.yPx) ** 2;
    for (let x = x0; x <= x1; x += every) {
      const i = y * widthPx + x;
      if (usePx[i] !== 1) continue;
      const r = Math.sqrt((x - fit.xPx) ** 2 + down2);
      rings[Math.min(rings.length - 1, Math.floor(r / ringPx))]!.push(
        values[i]! + fit.depth * shadowAt(r, fit),
      );
    }
  }
  const medians = rings.map((ring) => (ring.length >= 12 ? median(ring)! : Number.NaN));
  const outer = medians.slice(-3).filter((value) => !Number.isNaN(value));
  const level = outer.length > 0 ? outer.reduce((a, b) => a + b) / outer.length : 0;
  const fadeFrom = 0.8 * rings.length;
  return {
    leftOver: medians.map((value, k) => {
      const fade = Math.min(1, (rings.length - k) / (rings.length - fadeFrom));
      return Number.isNaN(value) ? 0 : (value - level) * fade;
    }),
    ringPx,
  };
}
