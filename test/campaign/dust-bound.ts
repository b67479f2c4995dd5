import { Cholesky } from "../../agent/imaging/numerics/cholesky.ts";
import { cubicKnots } from "../../agent/imaging/numerics/cubic-knots.ts";
import type { DustyFlat, TrueShadow } from "./dust-flats.ts";

/** x, y, diameter, depth; edge of what has a rim; hole of a ring. */
const perShadow = 6;
const steps = [0.05, 0.05, 0.05, 1e-4, 0.02, 0.005];
/** Finest spacing of a background that is to follow any flat, a share of the longer side. */
const knotShare = 0.12;

/**
 * The Cramér–Rao bound of each shadow's diameter: no unbiased measurement's standard deviation is below it, however it is
 * made. Fisher's information is that of white noise of the flat's sigma, with every other shadow (its place, size, depth, rim
 * and hole) and a smooth background unknown as well.
 * Source: S. M. Kay, Fundamentals of Statistical Signal Processing: Estimation Theory (1993), section 3.9.
 * @returns [px], of each true shadow; infinite where nothing tells it
 */
export function diameterBoundsPx({ flat, shadows, sigma, shade }: DustyFlat): number[] {
  const { shape, mask } = flat;
  const { widthPx, heightPx } = shape;
  const knotPx = knotShare * Math.max(widthPx, heightPx);
  const [across, down] = [cubicKnots(widthPx, knotPx), cubicKnots(heightPx, knotPx)];
  const columns = Array.from({ length: widthPx }, (_, x) => across.at(x));
  const smooth = across.count * down.count;
  const n = smooth + perShadow * shadows.length;
  const normal = new Float64Array(n * n);
  const tables = shadows.map((shadow) => tableOf(shadow, shade));
  const at = new Int32Array(16 + n - smooth);
  const by = new Float64Array(at.length);
  for (let y = 0; y < heightPx; y++) {
    const v = down.at(y);
    for (let x = 0; x < widthPx; x++) {
      if (mask[y * widthPx + x] !== 0) continue;
      const u = columns[x]!;
      let count = 0;
      for (let r = 0; r < 4; r++)
        for (let c = 0; c < 4; c++) {
          at[count] = (v.first + r) * across.count + u.first + c;
          by[count++] = v.share[r]! * u.share[c]!;
        }
      for (const [k, shadow] of shadows.entries()) {
        const [dx, dy] = [x - shadow.xPx, y - shadow.yPx];
        const r = Math.sqrt(dx * dx + dy * dy);
        const table = tables[k]!;
        if (r >= table.reachPx) continue;
        const place = Math.min(table.length - 1, Math.round(r / table.stepPx));
        const slope = table.by[0]![place]!;
        const from = smooth + perShadow * k;
        const add = (unknown: number, value: number) => {
          at[count] = from + unknown;
          by[count++] = value;
        };
        add(0, r > 0 ? (-slope * dx) / r : 0);
        add(1, r > 0 ? (-slope * dy) / r : 0);
        for (let unknown = 2; unknown < perShadow; unknown++) add(unknown, table.by[unknown - 1]![place]!);
      }
      for (let a = 0; a < count; a++) {
        const row = at[a]! * n;
        const value = by[a]!;
        for (let b = 0; b <= a; b++) normal[row + at[b]!]! += value * by[b]!;
      }
    }
  }
  // What a kind does not have, and where the background has no say, is as good as known.
  for (let k = 0; k < n; k++) normal[k * n + k]! += 1e-9;
  const factors = Cholesky.of(normal, n);
  return shadows.map((_, k) => {
    const unit = new Float64Array(n);
    unit[smooth + perShadow * k + 2] = 1;
    return factors ? sigma * Math.sqrt(factors.variance(unit)) : Number.POSITIVE_INFINITY;
  });
}

/** Derivatives of ln(1 - depth · shade) by the distance and by diameter, depth, edge and hole, over the distance. */
function tableOf(shadow: TrueShadow, shade: DustyFlat["shade"]) {
  const stepPx = 0.05;
  const reachPx =
    shadow.kind === "gaussian" ? 1.6 * shadow.diameterPx : shadow.diameterPx / 2 + 1.5 * shadow.edgePx;
  const length = Math.ceil(reachPx / stepPx) + 1;
  const log = (changed: TrueShadow, r: number) => Math.log(1 - changed.depth * shade(changed, r));
  const changes = [
    (by: number) => ({ ...shadow, diameterPx: shadow.diameterPx + by }),
    (by: number) => ({ ...shadow, depth: shadow.depth + by }),
    (by: number) => ({ ...shadow, edgePx: shadow.edgePx + by }),
    (by: number) => ({ ...shadow, holeRatio: shadow.holeRatio + by }),
  ];
  const derivative = (f: (by: number) => number, step: number) => (f(step) - f(-step)) / (2 * step);
  const over = (f: (r: number) => number) => Float64Array.from({ length }, (_, k) => f(k * stepPx));
  return {
    stepPx,
    reachPx,
    length,
    by: [
      over((r) => derivative((by) => log(shadow, Math.abs(r + by)), steps[0]!)),
      ...changes.map((change, k) => over((r) => derivative((by) => log(change(by), r), steps[k + 2]!))),
    ],
  };
}
