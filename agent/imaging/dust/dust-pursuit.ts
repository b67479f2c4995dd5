import type { Shape } from "../numerics/shape.ts";
import type { DustCandidate } from "./dust-candidates.ts";
import { halveResolution, type Level, slopesOf } from "./dust-level.ts";

/** A candidate as a disc with a rim of usual softness; its depth is of all candidates at once. */
export interface PursuedShadow {
  readonly xPx: number;
  readonly yPx: number;
  readonly radiusPx: number;
  readonly edgePx: number;
  readonly depth: number;
}

/** Of its diameter: rims of specks are 0.1 to 0.35 wide. */
const usualEdge = 0.2;
const cellsAcross = 400;
/** After each shadow that is added, so often over all of them. */
const sweeps = 4;
const shadowsMost = 60;

/**
 * The candidates that explain the picture's slopes, one after the other, the one that explains most first; each time the
 * depths of all that were taken are found anew together: where shadows overlap, no single one can be told for itself, and
 * a rim that is explained is not explained again. Slopes do not care for the background.
 * Source: orthogonal matching pursuit, Y. C. Pati, R. Rezaiifar and P. S. Krishnaprasad, Proc. 27th Asilomar Conf. (1993) 40.
 * @param leastDepth shallower ones are left out
 */
export function pursueShadows(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  candidates: readonly DustCandidate[],
  leastDepth: number,
): PursuedShadow[] {
  let level: Level = { shape, values: residual, use: usePx, binPx: 1 };
  while (Math.max(level.shape.widthPx, level.shape.heightPx) > cellsAcross) level = halveResolution(level);
  const left = slopesOf(level);
  const rims = candidates.map((candidate) => rimOf(candidate, level));
  const depths = new Float64Array(candidates.length);
  const change = (k: number, by: number) => {
    const { at, x, y } = rims[k]!;
    depths[k]! += by;
    for (let i = 0; i < at.length; i++) {
      left.x[at[i]!]! -= by * x[i]!;
      left.y[at[i]!]! -= by * y[i]!;
    }
  };
  const wanted = (k: number) => {
    const { at, x, y, square } = rims[k]!;
    let product = 0;
    for (let i = 0; i < at.length; i++) product += x[i]! * left.x[at[i]!]! + y[i]! * left.y[at[i]!]!;
    return square > 0 ? product / square : 0;
  };
  const taken: number[] = [];
  while (taken.length < shadowsMost) {
    let best = { k: -1, explains: 0, depth: 0 };
    rims.forEach(({ square }, k) => {
      if (taken.includes(k)) return;
      const depth = wanted(k);
      const explains = depth * depth * square;
      if (depth > leastDepth && explains > best.explains) best = { k, explains, depth };
    });
    if (best.k < 0) break;
    taken.push(best.k);
    change(best.k, best.depth);
    for (let sweep = 0; sweep < sweeps; sweep++)
      for (const k of taken) change(k, Math.max(0, depths[k]! + wanted(k)) - depths[k]!);
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
