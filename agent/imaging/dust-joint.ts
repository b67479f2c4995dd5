import type { DustCandidate } from "./dust-candidates.ts";
import { halved, type Level, slopesOf } from "./dust-level.ts";
import type { Shape } from "./shape.ts";

/** A candidate as a disc with a rim of usual softness; its depth is of all candidates at once. */
export interface JointShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly radiusPx: number;
  readonly edgePx: number;
  readonly depth: number;
}

/** Of its diameter: rims of specks are 0.1 to 0.35 wide. */
const usualEdge = 0.2;
const cellsAcross = 400;
const sweeps = 60;
/** A depth pays so much of itself for being there: of two that explain the same rim, one is left. */
const toll = 0.12;

/**
 * Depths of all candidates at once, none negative and few of them not zero, by what their rims leave of the picture's
 * slopes: where shadows overlap, no single one can be told for itself. Slopes do not care for the background.
 * Source: coordinate descent on the lasso, J. Friedman, T. Hastie and R. Tibshirani, Journal of Statistical Software 33
 * (2010) issue 1.
 */
export function jointShadows(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  candidates: readonly DustCandidate[],
): JointShadow[] {
  let level: Level = { shape, values: residual, use: usePx, binPx: 1 };
  while (Math.max(level.shape.widthPx, level.shape.heightPx) > cellsAcross) level = halved(level);
  const left = slopesOf(level);
  const rims = candidates.map((candidate) => rimOf(candidate, level));
  const depths = new Float64Array(candidates.length);
  for (let sweep = 0; sweep < sweeps; sweep++) {
    let most = 0;
    rims.forEach(({ at, x, y, square }, k) => {
      if (square === 0) return;
      let product = 0;
      for (let i = 0; i < at.length; i++) product += x[i]! * left.x[at[i]!]! + y[i]! * left.y[at[i]!]!;
      const alone = depths[k]! + product / square;
      const next = Math.max(0, alone - toll * Math.abs(candidates[k]!.contrast));
      const change = next - depths[k]!;
      if (change === 0) return;
      depths[k] = next;
      most = Math.max(most, Math.abs(change));
      for (let i = 0; i < at.length; i++) {
        left.x[at[i]!]! -= change * x[i]!;
        left.y[at[i]!]! -= change * y[i]!;
      }
    });
    if (most < 1e-5) break;
  }
  return candidates.flatMap(({ xPx, yPx, diameterPx }, k) =>
    depths[k]! > 0
      ? [{ xPx, yPx, radiusPx: diameterPx / 2, edgePx: usualEdge * diameterPx, depth: depths[k]! }]
      : [],
  );
}

/** Slopes of a shadow of depth 1 over its rim, per cell. */
function rimOf({ xPx, yPx, diameterPx }: DustCandidate, { shape, binPx, use }: Level) {
  const { widthPx, heightPx } = shape;
  const [cx, cy] = [(xPx + 0.5) / binPx - 0.5, (yPx + 0.5) / binPx - 0.5];
  const radius = diameterPx / 2 / binPx;
  const edge = Math.max(2.5, (usualEdge * diameterPx) / binPx);
  const reach = radius + edge / 2;
  const at: number[] = [];
  const x: number[] = [];
  const y: number[] = [];
  let square = 0;
  for (let v = Math.max(1, Math.ceil(cy - reach)); v <= Math.min(heightPx - 2, cy + reach); v++)
    for (let u = Math.max(1, Math.ceil(cx - reach)); u <= Math.min(widthPx - 2, cx + reach); u++) {
      const r = Math.hypot(u - cx, v - cy);
      const t = (radius - r) / edge + 0.5;
      if (t <= 0 || t >= 1 || r === 0 || use[v * widthPx + u] !== 1) continue;
      const steep = (6 * t * (1 - t)) / edge;
      at.push(v * widthPx + u);
      x.push((steep * (u - cx)) / r);
      y.push((steep * (v - cy)) / r);
      square += steep * steep;
    }
  return { at, x, y, square };
}
