import { neighbourNoise } from "../noise/neighbour-noise.ts";
import { Cholesky } from "../numerics/cholesky.ts";
import { cubicKnots } from "../numerics/cubic-knots.ts";
import { cellsOf, radiusSlack } from "./dust-cells.ts";
import { freeUnknowns, type ShadowFit } from "./dust-fit.ts";
import type { Residual } from "./dust-shadow.ts";
import { derivatives, isRing } from "./shadow-profile.ts";

/** x, y, radius, hole ratio, edge, depth: as a fit of one has them. */
const perShadow = 6;
const rounds = 8;

/**
 * Of a ring whose rims run together, light tells little but its middle and how much there is of it: what is known of rings beforehand
 * keeps it a ring. Central obstructions are 0.2 to 0.5 wide, specks 0.1 to 0.4 of their shadows. Sigma 1 about it, own reasoning.
 */
const usualRing = { hole: { mean: 0.36, sigma: 0.1 }, edgeOverRadius: { mean: 0.6, sigma: 0.35 } };

/**
 * All shadows of a picture and its background (cubic B-splines) by damped least squares at once: where shadows overlap, or are as
 * wide as the background's waves, each knows what the others don't. Kinds stay as they are.
 * Source: K. Levenberg, Quarterly of Applied Mathematics 2 (1944) 164; normal equations by Cholesky factors.
 * @param picture ln F with the shadows in it
 * @returns the same shadows, with sigmas that include all that is unknown of the others; a depth of less than nothing says that there is none
 */
export function fitTogether(picture: Residual, shadows: readonly ShadowFit[], knotPx: number): ShadowFit[] {
  const { widthPx, heightPx } = picture.shape;
  const [across, down] = [cubicKnots(widthPx, knotPx), cubicKnots(heightPx, knotPx)];
  const smooth = across.count * down.count;
  const froms: number[] = [];
  let n = smooth;
  const used = shadows.map(({ kind }) => freeUnknowns[kind].filter((unknown) => unknown < perShadow));
  for (const own of used) {
    froms.push(n);
    n += own.length;
  }
  const cells = cellsOf(picture, shadows);
  const { tiles, x, y, value, weight } = cells;
  const noise = (neighbourNoise(picture.values, picture.usePx, widthPx) ?? 0) ** 2;
  const at = new Int32Array(16 + n - smooth);
  const by = new Float64Array(at.length);
  const slopes = new Float64Array(perShadow);

  /** Normal equations, and the sum of squares, about one set of unknowns. */
  const about = (splines: Float64Array, ps: readonly Float64Array[]) => {
    const normal = new Float64Array(n * n);
    const right = new Float64Array(n);
    const misses = shadows.map(() => ({ squares: 0, cells: 0 }));
    let squares = 0;
    for (const tile of tiles)
      for (let c = tile.from; c < tile.to; c++) {
        const [u, v] = [across.at(x[c]!), down.at(y[c]!)];
        let count = 0;
        let miss = value[c]!;
        for (let r = 0; r < 4; r++)
          for (let s = 0; s < 4; s++) {
            const share = v.share[r]! * u.share[s]!;
            at[count] = (v.first + r) * across.count + u.first + s;
            miss -= share * splines[at[count]!]!;
            by[count++] = share;
          }
        for (const k of tile.shadows) {
          const p = ps[k]!;
          const [dx, dy] = [x[c]! - p[0]!, y[c]! - p[1]!];
          const r = Math.sqrt(dx * dx + dy * dy);
          const depth = p[5]!;
          const shade = derivatives(shadows[k]!.kind, r, p, slopes);
          miss += depth * shade;
          const outwards = r > 0 ? (depth * slopes[0]!) / r : 0;
          slopes[0] = outwards * dx;
          slopes[1] = outwards * dy;
          for (let q = 2; q < 5; q++) slopes[q]! *= -depth;
          slopes[5] = -shade;
          const own = used[k]!;
          for (let q = 0; q < own.length; q++) {
            at[count] = froms[k]! + q;
            by[count++] = slopes[own[q]!]!;
          }
        }
        const w = weight[c]!;
        squares += w * miss * miss;
        for (const k of tile.shadows) {
          misses[k]!.squares += w * miss * miss;
          misses[k]!.cells++;
        }
        for (let a = 0; a < count; a++) {
          const row = at[a]! * n;
          const one = w * by[a]!;
          right[at[a]!]! += one * miss;
          for (let b = 0; b <= a; b++) normal[row + at[b]!]! += one * by[b]!;
        }
      }
    for (const [k, p] of ps.entries()) {
      if (!isRing(shadows[k]!.kind)) continue;
      const { hole, edgeOverRadius } = usualRing;
      const { radiusPx } = shadows[k]!;
      const say = (unknown: number, mean: number, sigma: number) => {
        const own = froms[k]! + used[k]!.indexOf(unknown);
        const w = noise / sigma ** 2;
        const miss = mean - p[unknown]!;
        squares += w * miss * miss;
        right[own]! += w * miss;
        normal[own * n + own]! += w;
      };
      say(3, hole.mean, hole.sigma);
      say(4, edgeOverRadius.mean * radiusPx, edgeOverRadius.sigma * radiusPx);
    }
    let most = 0;
    for (let k = 0; k < n; k++) most = Math.max(most, normal[k * n + k]!);
    // What nothing depends on keeps its value.
    for (let k = 0; k < n; k++) normal[k * n + k]! += 1e-10 * most;
    return { normal, right, squares, misses };
  };

  let splines: Float64Array = new Float64Array(smooth);
  let ps: Float64Array[] = shadows.map(({ xPx, yPx, radiusPx, holeRatio, edgePx, depth }) =>
    Float64Array.of(xPx, yPx, radiusPx, holeRatio, edgePx, depth),
  );
  let here = about(splines, ps);
  let damping = 1e-3;
  for (let round = 0; round < rounds; round++) {
    const damped = here.normal.slice();
    for (let k = 0; k < n; k++) damped[k * n + k]! *= 1 + damping;
    const step = Cholesky.of(damped, n)?.solve(here.right);
    if (!step) break;
    const nextSplines = splines.map((one, k) => one + step[k]!);
    const next = ps.map((p, k) => {
      const moved = p.slice();
      used[k]!.forEach((unknown, q) => {
        moved[unknown]! += step[froms[k]! + q]!;
      });
      return bounded(moved, shadows[k]!);
    });
    const there = about(nextSplines, next);
    if (!(there.squares < here.squares)) {
      damping *= 20;
      continue;
    }
    const gain = 1 - there.squares / here.squares;
    splines = nextSplines;
    ps = next;
    here = there;
    damping = Math.max(1e-7, damping / 10);
    if (gain < 1e-6) break;
  }
  const factors = Cholesky.of(here.normal, n);
  const variance = here.squares / Math.max(1, x.length - n);
  return shadows.map((shadow, k) => {
    const { squares, cells: own } = here.misses[k]!;
    // Where the model fits worse than elsewhere, its unknowns are known less.
    const local = Math.max(variance, squares / Math.max(1, own - perShadow));
    const sigmaOf = (unknown: number) => {
      const unit = new Float64Array(n);
      unit[froms[k]! + used[k]!.indexOf(unknown)] = 1;
      return factors ? Math.sqrt(local * factors.variance(unit)) : Number.POSITIVE_INFINITY;
    };
    const p = ps[k]!;
    return {
      ...shadow,
      xPx: p[0]!,
      yPx: p[1]!,
      radiusPx: p[2]!,
      radiusSigma: sigmaOf(2),
      holeRatio: p[3]!,
      edgePx: p[4]!,
      depth: p[5]!,
      depthSigma: sigmaOf(5),
    };
  });
}

function bounded(p: Float64Array, { kind, xPx, yPx, radiusPx }: ShadowFit): Float64Array {
  const within = (value: number, least: number, most: number) => Math.min(most, Math.max(least, value));
  const aside = 0.2 * radiusPx + 1;
  p[0] = within(p[0]!, xPx - aside, xPx + aside);
  p[1] = within(p[1]!, yPx - aside, yPx + aside);
  p[2] = within(p[2]!, (1 - radiusSlack) * radiusPx, (1 + radiusSlack) * radiusPx);
  if (isRing(kind)) p[3] = within(p[3]!, 0.05, 0.75);
  p[4] = within(p[4]!, 0.7, Math.max(1.5, 1.5 * p[2]!));
  return p;
}
