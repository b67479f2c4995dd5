import { Cholesky } from "../numerics/cholesky.ts";
import type { Shape } from "../numerics/shape.ts";
import { type Patch, patchAbout } from "./dust-patch.ts";
import {
  isRing,
  profileDerivatives,
  type ShadowForm,
  type ShadowKind,
  shadowProfile,
} from "./shadow-profile.ts";

/** How far a fit may go from where it starts: a rim is where it is, even if neighbours pull. */
export type FitFreedom = "much" | "little";

/** Of the centre in radii; of the radius itself. */
const slackOf = { much: [0.9, 0.45, 1.9], little: [0.1, 0.85, 1.18] } as const;

/** A shadow as fitted to ln F less its background; a bright bump has a negative depth. */
export interface ShadowFit extends ShadowForm {
  readonly xPx: number;
  readonly yPx: number;
  /** One sigma of the radius [px], from the scatter of the pixels about the fit. */
  readonly radiusSigma: number;
  /** In ln F. */
  readonly depth: number;
  /** From the scatter of the pixels about the fit. */
  readonly depthSigma: number;
  /** Variance of a pixel about the fit, and how many samples it looked at. */
  readonly miss: number;
  readonly pixels: number;
  /** How well the kind explains the pixels for its number of unknowns, to be compared on one patch: -BIC. */
  readonly worth: number;
}

/** x, y, radius, hole ratio, edge; depth, level, slope in x, slope in y. */
const unknowns = 9;
const rounds = 10;
/** Those that a kind does not have keep their value. */
export const freeUnknowns: Record<ShadowKind, readonly number[]> = {
  disc: [0, 1, 2, 4, 5, 6, 7, 8],
  ring: [0, 1, 2, 3, 4, 5, 6, 7, 8],
  bell: [0, 1, 2, 5, 6, 7, 8],
  softDisc: [0, 1, 2, 4, 5, 6, 7, 8],
  softRing: [0, 1, 2, 3, 4, 5, 6, 7, 8],
};
/** How much of its surroundings a fit looks at, in radii; the same for every kind, so that kinds can be compared. */
const reach = 1.9;

/** Where a fit begins, and what it looks at. */
export interface FitStart {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  readonly edgePx?: number;
  readonly holeRatio?: number;
  /** In radii. */
  readonly reach?: number;
  readonly samples?: number;
}

/**
 * Fits disc or ring with a soft rim, on a sloping background, by damped least squares (Levenberg, Quarterly of Applied
 * Mathematics 2 (1944) 164). A shadow that is cut by the frame's edge is fitted by what is seen of it.
 * @returns `undefined` when too little is seen or the fit runs away
 */
export function fitShadow(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  start: FitStart,
  kind: ShadowKind,
  slack: FitFreedom = "much",
): ShadowFit | undefined {
  const radius = start.diameterPx / 2;
  const patch = patchAbout(
    residual,
    usePx,
    shape,
    start.xPx,
    start.yPx,
    Math.max(radius * (start.reach ?? reach), radius + 5),
    start.samples,
  );
  if (patch.count < 40) return undefined;
  let p: Float64Array = Float64Array.of(
    start.xPx,
    start.yPx,
    radius,
    isRing(kind) ? start.holeRatio || 0.35 : 0,
    Math.max(1, start.edgePx ?? 0.3 * radius),
    depthAt(patch, start, radius),
    0,
    0,
    0,
  );
  let squares = squaresOf(patch, p, kind);
  let damping = 1e-2;
  let equations = normalEquations(patch, p, kind);
  for (let round = 0; round < rounds; round++) {
    let improved = false;
    for (let tries = 0; tries < 5 && !improved; tries++) {
      const step = equations.solve(damping);
      if (!step) return undefined;
      const next = bounded(
        p.map((value, k) => value + step[k]!),
        start,
        radius,
        kind,
        slack,
      );
      const nextSquares = squaresOf(patch, next, kind);
      if (nextSquares < squares) {
        improved = true;
        damping = Math.max(1e-6, damping / 8);
        const gain = (squares - nextSquares) / squares;
        p = next;
        squares = nextSquares;
        equations = normalEquations(patch, p, kind);
        if (gain < 1e-4) round = rounds;
      } else damping *= 10;
    }
    if (!improved) break;
  }
  const [xPx, yPx, radiusPx, hole, edgePx, depth] = [p[0]!, p[1]!, p[2]!, p[3]!, p[4]!, p[5]!];
  const variance = squares / Math.max(1, patch.count - freeUnknowns[kind].length);
  return {
    kind,
    xPx,
    yPx,
    radiusPx,
    radiusSigma: Math.sqrt(variance * equations.variance(2)),
    holeRatio: hole,
    edgePx,
    depth,
    depthSigma: Math.sqrt(variance * equations.variance(5)),
    miss: variance * patch.sidePx ** 2,
    pixels: patch.count,
    worth: -patch.count * Math.log(squares) - freeUnknowns[kind].length * Math.log(patch.count),
  };
}

function squaresOf({ x, y, value, count, scalePx }: Patch, p: Float64Array, kind: ShadowKind): number {
  const [px, py, radius, hole, edge] = [p[0]!, p[1]!, p[2]!, p[3]!, p[4]!];
  const [depth, level] = [p[5]!, p[6]!];
  const [slopeX, slopeY] = [p[7]! / scalePx, p[8]! / scalePx];
  let squares = 0;
  for (let k = 0; k < count; k++) {
    const dx = x[k]! - px;
    const dy = y[k]! - py;
    const shade = shadowProfile(kind, Math.sqrt(dx * dx + dy * dy), radius, hole, edge);
    const miss = value[k]! - level - slopeX * dx - slopeY * dy + depth * shade;
    squares += miss * miss;
  }
  return squares;
}

interface NormalEquations {
  /** The damped step of every unknown. @returns `undefined` when the pixels do not say */
  solve(damping: number): Float64Array | undefined;
  /** Of one unknown, times the variance of a sample it is its variance. */
  variance(unknown: number): number;
}

/** Of the least squares about `p`, by the model's derivatives. */
function normalEquations(patch: Patch, p: Float64Array, kind: ShadowKind): NormalEquations {
  const { x, y, value, count, scalePx } = patch;
  const at = freeUnknowns[kind];
  const n = at.length;
  const normal = new Float64Array(n * n);
  const right = new Float64Array(n);
  const all = new Float64Array(unknowns);
  const row = new Float64Array(n);
  const [px, py, depth, level] = [p[0]!, p[1]!, p[5]!, p[6]!];
  const [slopeX, slopeY] = [p[7]! / scalePx, p[8]! / scalePx];
  for (let k = 0; k < count; k++) {
    const dx = x[k]! - px;
    const dy = y[k]! - py;
    const r = Math.sqrt(dx * dx + dy * dy);
    const shade = profileDerivatives(kind, r, p, all);
    const outwards = r > 0 ? (depth * all[0]!) / r : 0;
    all[0] = outwards * dx - slopeX;
    all[1] = outwards * dy - slopeY;
    all[2]! *= -depth;
    all[3]! *= -depth;
    all[4]! *= -depth;
    all[5] = -shade;
    all[6] = 1;
    all[7] = dx / scalePx;
    all[8] = dy / scalePx;
    for (let a = 0; a < n; a++) row[a] = all[at[a]!]!;
    const miss = value[k]! - level - slopeX * dx - slopeY * dy + depth * shade;
    for (let a = 0; a < n; a++) {
      const one = row[a]!;
      right[a]! += one * miss;
      for (let b = 0; b <= a; b++) normal[a * n + b]! += one * row[b]!;
    }
  }
  // An unknown that nothing depends on here (a rim narrower than a pixel) keeps its value and makes nothing singular.
  const floor = 1e-9 * Math.max(...normal);
  for (let a = 0; a < n; a++) normal[a * n + a]! += floor;
  return {
    solve: (damping) => {
      const damped = normal.slice();
      for (let a = 0; a < n; a++) damped[a * n + a]! *= 1 + damping;
      const found = Cholesky.of(damped, n)?.solve(right);
      if (!found) return undefined;
      const step = new Float64Array(unknowns);
      at.forEach((unknown, a) => {
        step[unknown] = found[a]!;
      });
      return step;
    },
    variance: (unknown) => {
      const unit = new Float64Array(n);
      unit[at.indexOf(unknown)] = 1;
      return Cholesky.of(normal, n)?.variance(unit) ?? Number.POSITIVE_INFINITY;
    },
  };
}

function bounded(
  p: Float64Array,
  start: { readonly xPx: number; readonly yPx: number },
  radius: number,
  kind: ShadowKind,
  slack: FitFreedom,
): Float64Array {
  const within = (value: number, least: number, most: number) => Math.min(most, Math.max(least, value));
  const [aside, smallest, largest] = slackOf[slack];
  p[0] = within(p[0]!, start.xPx - aside * radius - 1, start.xPx + aside * radius + 1);
  p[1] = within(p[1]!, start.yPx - aside * radius - 1, start.yPx + aside * radius + 1);
  p[2] = within(p[2]!, smallest * radius, largest * radius);
  p[3] = isRing(kind) ? within(p[3]!, 0, 0.75) : 0;
  p[4] = within(p[4]!, 0.7, Math.max(1.5, 1.5 * p[2]!));
  return p;
}

function depthAt(
  patch: Patch,
  start: { readonly xPx: number; readonly yPx: number },
  radius: number,
): number {
  let [inside, insideCount, outside, outsideCount] = [0, 0, 0, 0];
  for (let k = 0; k < patch.count; k++) {
    const r = Math.hypot(patch.x[k]! - start.xPx, patch.y[k]! - start.yPx);
    if (r < 0.8 * radius) {
      inside += patch.value[k]!;
      insideCount++;
    } else if (r > 1.3 * radius) {
      outside += patch.value[k]!;
      outsideCount++;
    }
  }
  return outside / Math.max(1, outsideCount) - inside / Math.max(1, insideCount);
}
