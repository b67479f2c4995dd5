import { neighbourNoise } from "../noise/neighbour-noise.ts";
import { cubicKnots } from "../numerics/cubic-knots.ts";
import { type Cells, cellsOf } from "./dust-cells.ts";
import { freeUnknowns, type ShadowFit } from "./dust-fit.ts";
import type { Residual } from "./dust-shadow.ts";
import { type Splines, splineNormal, splinesAt } from "./dust-splines.ts";
import { isRing, profileDerivatives, type ShadowKind } from "./shadow-profile.ts";

/** x, y, radius, hole ratio, edge, depth: as a fit of one has them. */
export const unknownsPerShadow = 6;

/**
 * Of a ring whose rims run together, light tells little but its middle and how much there is of it: what is known of rings beforehand
 * keeps it a ring. Central obstructions are 0.2 to 0.5 wide, specks 0.1 to 0.4 of their shadows. Sigma 1 about it, own reasoning.
 */
const usualRing = { hole: { mean: 0.36, sigma: 0.1 }, edgeOverRadius: { mean: 0.6, sigma: 0.35 } };

/** Least squares about one set of unknowns: what a small step would change. */
export interface Linearised {
  /** Lower triangle, row-major: splines first, then each shadow's unknowns. */
  readonly normal: Float64Array;
  readonly right: Float64Array;
  /** Weighted by pixels: in all, and in the cells that each shadow reaches. */
  readonly squares: number;
  readonly misses: readonly { readonly squares: number; readonly cells: number }[];
}

/** The normal equations of a picture's shadows and its background of cubic B-splines, on means of small cells. */
export class JointEquations {
  readonly splineCount: number;
  readonly unknownCount: number;
  readonly #shadows: readonly ShadowFit[];
  /** Of each shadow: which of its unknowns are free, and where the first of them comes. */
  readonly #free: readonly (readonly number[])[];
  readonly #from: readonly number[];
  readonly #cells: Cells;
  readonly #splines: Splines;
  readonly #splineNormal: Float64Array;
  readonly #noise: number;

  constructor(picture: Residual, shadows: readonly ShadowFit[], knotPx: number, cellPx?: number) {
    const { widthPx, heightPx } = picture.shape;
    this.#shadows = shadows;
    this.#free = shadows.map(({ kind }) =>
      freeUnknowns[kind].filter((unknown) => unknown < unknownsPerShadow),
    );
    this.#cells = cellsOf(picture, shadows, cellPx);
    const [across, down] = [cubicKnots(widthPx, knotPx), cubicKnots(heightPx, knotPx)];
    this.#splines = splinesAt(this.#cells.x, this.#cells.y, across, down);
    this.splineCount = across.count * down.count;
    const from: number[] = [];
    let n = this.splineCount;
    for (const own of this.#free) {
      from.push(n);
      n += own.length;
    }
    this.#from = from;
    this.unknownCount = n;
    this.#splineNormal = splineNormal(this.#cells.weight, this.#splines, n);
    this.#noise = (neighbourNoise(picture.values, picture.usePx, widthPx) ?? 0) ** 2;
  }

  get cellCount(): number {
    return this.#cells.x.length;
  }

  /** Where an unknown of a shadow stands among all. */
  placeOf(shadow: number, unknown: number): number {
    return this.#from[shadow]! + this.#free[shadow]!.indexOf(unknown);
  }

  /** The six of a shadow after a step of all unknowns. */
  moved(p: Float64Array, shadow: number, step: Float64Array): Float64Array {
    const moved = p.slice();
    for (const [q, unknown] of this.#free[shadow]!.entries())
      moved[unknown]! += step[this.#from[shadow]! + q]!;
    return moved;
  }

  /**
   * @param splines coefficients
   * @param ps of each shadow, its six
   */
  about(splines: Float64Array, ps: readonly Float64Array[]): Linearised {
    const n = this.unknownCount;
    const normal = this.#splineNormal.slice();
    const right = new Float64Array(n);
    const misses = ps.map(() => ({ squares: 0, cells: 0 }));
    const { tiles, x, y, value, weight } = this.#cells;
    const { first, stride, share } = this.#splines;
    const [from, free] = [this.#from, this.#free];
    const slopes = new Float64Array(unknownsPerShadow);
    const by = new Float64Array(unknownsPerShadow * ps.length);
    const active = new Int32Array(ps.length);
    let squares = 0;
    for (const tile of tiles)
      for (let c = tile.from; c < tile.to; c++) {
        const w = weight[c]!;
        let miss = value[c]!;
        for (let s = 0; s < 16; s++)
          miss -= share[16 * c + s]! * splines[first[c]! + (s >> 2) * stride + (s & 3)]!;
        let count = 0;
        for (const k of tile.shadows) {
          const darkening = darkeningAt(this.#shadows[k]!.kind, ps[k]!, x[c]!, y[c]!, slopes);
          if (darkening === undefined) continue;
          miss += darkening;
          const own = free[k]!;
          for (let q = 0; q < own.length; q++) by[unknownsPerShadow * count + q] = slopes[own[q]!]!;
          active[count++] = k;
        }
        const square = w * miss * miss;
        squares += square;
        for (const k of tile.shadows) {
          misses[k]!.squares += square;
          misses[k]!.cells++;
        }
        for (let s = 0; s < 16; s++)
          right[first[c]! + (s >> 2) * stride + (s & 3)]! += w * miss * share[16 * c + s]!;
        for (let a = 0; a < count; a++) {
          const k = active[a]!;
          const own = free[k]!.length;
          for (let q = 0; q < own; q++) {
            const one = w * by[unknownsPerShadow * a + q]!;
            if (one === 0) continue;
            right[from[k]! + q]! += one * miss;
            const row = (from[k]! + q) * n;
            for (let s = 0; s < 16; s += 4) {
              const at = row + first[c]! + (s >> 2) * stride;
              normal[at]! += one * share[16 * c + s]!;
              normal[at + 1]! += one * share[16 * c + s + 1]!;
              normal[at + 2]! += one * share[16 * c + s + 2]!;
              normal[at + 3]! += one * share[16 * c + s + 3]!;
            }
            for (let b = 0; b < a; b++) {
              const other = active[b]!;
              const at = row + from[other]!;
              const others = free[other]!.length;
              for (let p = 0; p < others; p++) normal[at + p]! += one * by[unknownsPerShadow * b + p]!;
            }
            const at = row + from[k]!;
            for (let p = 0; p <= q; p++) normal[at + p]! += one * by[unknownsPerShadow * a + p]!;
          }
        }
      }
    for (const [k, p] of ps.entries())
      if (isRing(this.#shadows[k]!.kind)) squares += this.#addUsualRing(k, p, normal, right);
    let most = 0;
    for (let k = 0; k < n; k++) most = Math.max(most, normal[k * n + k]!);
    // What nothing depends on keeps its value.
    for (let k = 0; k < n; k++) normal[k * n + k]! += 1e-10 * most;
    return { normal, right, squares, misses };
  }

  /** @returns the squares that it adds */
  #addUsualRing(k: number, p: Float64Array, normal: Float64Array, right: Float64Array): number {
    const { radiusPx } = this.#shadows[k]!;
    const { hole, edgeOverRadius } = usualRing;
    let squares = 0;
    const say = (unknown: number, mean: number, sigma: number) => {
      const own = this.placeOf(k, unknown);
      const w = this.#noise / sigma ** 2;
      const miss = mean - p[unknown]!;
      squares += w * miss * miss;
      right[own]! += w * miss;
      normal[own * this.unknownCount + own]! += w;
    };
    say(3, hole.mean, hole.sigma);
    say(4, edgeOverRadius.mean * radiusPx, edgeOverRadius.sigma * radiusPx);
    return squares;
  }
}

/**
 * How much darker a shadow makes a place [ln F].
 * @param p its six unknowns
 * @param slopes gets how the picture changes with each of them
 * @returns `undefined` where it does not reach
 */
function darkeningAt(
  kind: ShadowKind,
  p: Float64Array,
  x: number,
  y: number,
  slopes: Float64Array,
): number | undefined {
  const dx = x - p[0]!;
  const dy = y - p[1]!;
  const r = Math.sqrt(dx * dx + dy * dy);
  const depth = p[5]!;
  const shade = profileDerivatives(kind, r, p, slopes);
  if (shade === 0 && slopes[0] === 0) return undefined;
  const outwards = r > 0 ? (depth * slopes[0]!) / r : 0;
  slopes[0] = outwards * dx;
  slopes[1] = outwards * dy;
  for (let q = 2; q < 5; q++) slopes[q]! *= -depth;
  slopes[5] = -shade;
  return depth * shade;
}
