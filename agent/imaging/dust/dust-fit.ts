import { invertSymmetric } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";
import { type Patch, patchAbout } from "./dust-patch.ts";

/** How far a fit may go from where it starts: a rim is where it is, even if neighbours pull. */
export type Slack = "much" | "little";

/** Of the centre in radii; of the radius itself. */
const slackOf = { much: [0.9, 0.45, 1.9], little: [0.1, 0.85, 1.18] } as const;

/** How the light falls towards the middle: a flat floor with a soft rim, the same with a bright middle, or a bell. */
export type ShadowKind = "disc" | "ring" | "bell";

/** A shadow as fitted to ln F less its background; a bright bump has a negative depth. */
export interface ShadowFit {
  readonly kind: ShadowKind;
  readonly xPx: number;
  readonly yPx: number;
  /** Where half of the depth is reached. */
  readonly radiusPx: number;
  /** Of the bright middle over that of the shadow; 0 without one. */
  readonly holeRatio: number;
  /** Width over which the rim falls: the size of the speck itself. */
  readonly edgePx: number;
  /** In ln F. */
  readonly depth: number;
  /** From the scatter of the pixels about the fit. */
  readonly depthSigma: number;
  /** Variance of a pixel about the fit, and how many samples it looked at. */
  readonly miss: number;
  readonly pixels: number;
}

/** x, y, radius, hole ratio, edge; depth, level, slope in x, slope in y. */
const unknowns = 9;
const rounds = 10;
/** How much of its surroundings a fit looks at, in radii; the same for every kind, so that kinds can be compared. */
const reach = 1.9;

/**
 * Fits disc or ring with a soft rim, on a sloping background, by damped least squares (Levenberg, Quarterly of Applied
 * Mathematics 2 (1944) 164). A shadow that is cut by the frame's edge is fitted by what is seen of it.
 * @returns `undefined` when too little is seen or the fit runs away
 */
export function fitShadow(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  start: { readonly xPx: number; readonly yPx: number; readonly diameterPx: number },
  kind: ShadowKind,
  slack: Slack = "much",
): ShadowFit | undefined {
  const radius = start.diameterPx / 2;
  const patch = patchAbout(
    residual,
    usePx,
    shape,
    start.xPx,
    start.yPx,
    Math.max(radius * reach, radius + 5),
  );
  if (patch.count < 40) return undefined;
  let p = [
    start.xPx,
    start.yPx,
    radius,
    kind === "ring" ? 0.35 : 0,
    Math.max(1, 0.3 * radius),
    depthAt(patch, start, radius),
    0,
    0,
    0,
  ];
  let squares = squaresOf(patch, p, kind);
  let damping = 1e-2;
  let inverse: number[] | undefined;
  for (let round = 0; round < rounds; round++) {
    const { normal, right } = normalEquations(patch, p, squares, kind);
    let improved = false;
    for (let tries = 0; tries < 5 && !improved; tries++) {
      const damped = normal.slice();
      for (let k = 0; k < unknowns; k++) damped[k * unknowns + k]! *= 1 + damping;
      inverse = invertSymmetric(damped, unknowns);
      if (!inverse) return undefined;
      const next = bounded(
        p.map((value, k) => value + right.reduce((sum, r, j) => sum + inverse![k * unknowns + j]! * r, 0)),
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
        if (gain < 1e-4) round = rounds;
      } else damping *= 10;
    }
    if (!improved) break;
  }
  if (!inverse) return undefined;
  const [xPx, yPx, radiusPx, hole, edgePx, depth] = p as [number, number, number, number, number, number];
  const variance = squares / Math.max(1, patch.count - unknowns);
  return {
    kind,
    xPx,
    yPx,
    radiusPx,
    holeRatio: hole,
    edgePx,
    depth,
    depthSigma: Math.sqrt(variance * Math.max(0, inverse[5 * unknowns + 5]!)),
    miss: variance * patch.sidePx ** 2,
    pixels: patch.count,
  };
}

/** How much of its full depth the shadow has at a distance from its centre. */
export function shadowAt(
  r: number,
  { kind, radiusPx, holeRatio, edgePx }: Pick<ShadowFit, "kind" | "radiusPx" | "holeRatio" | "edgePx">,
): number {
  return profile(kind, r, radiusPx, holeRatio, edgePx);
}

/** Where a shadow has ended, a multiple of its radius. */
export function endOf({ kind, radiusPx, edgePx }: Pick<ShadowFit, "kind" | "radiusPx" | "edgePx">): number {
  return kind === "bell" ? 3 * radiusPx : radiusPx + edgePx / 2 + 0.5;
}

function profile(kind: ShadowKind, r: number, radius: number, holeRatio: number, edge: number): number {
  if (kind === "bell") return Math.exp(-Math.LN2 * (r / radius) ** 2);
  const hole = holeRatio * radius;
  return rise((radius - r) / edge + 0.5) - (hole > 0.5 ? rise((hole - r) / edge + 0.5) : 0);
}

function rise(t: number): number {
  if (t <= 0) return 0;
  return t >= 1 ? 1 : t * t * (3 - 2 * t);
}

function model(kind: ShadowKind, p: readonly number[], x: number, y: number, scalePx: number): number {
  const dx = x - p[0]!;
  const dy = y - p[1]!;
  const shade = profile(kind, Math.sqrt(dx * dx + dy * dy), p[2]!, p[3]!, p[4]!);
  return p[6]! + (p[7]! * dx + p[8]! * dy) / scalePx - p[5]! * shade;
}

function squaresOf(patch: Patch, p: readonly number[], kind: ShadowKind): number {
  let squares = 0;
  for (let k = 0; k < patch.count; k++)
    squares += (patch.value[k]! - model(kind, p, patch.x[k]!, patch.y[k]!, patch.scalePx)) ** 2;
  return squares;
}

const steps = [0.05, 0.05, 0.05, 0.01, 0.05];

function normalEquations(patch: Patch, p: readonly number[], squares: number, kind: ShadowKind) {
  const normal: number[] = new Array(unknowns * unknowns).fill(0);
  const right: number[] = new Array(unknowns).fill(0);
  const shifted = steps.map((step, k) => p.map((value, j) => (j === k ? value + step : value)));
  const row = new Float64Array(unknowns);
  for (let k = 0; k < patch.count; k++) {
    const [x, y] = [patch.x[k]!, patch.y[k]!];
    const here = model(kind, p, x, y, patch.scalePx);
    for (let j = 0; j < steps.length; j++)
      row[j] = (model(kind, shifted[j]!, x, y, patch.scalePx) - here) / steps[j]!;
    if (kind !== "ring") row[3] = 0;
    if (kind === "bell") row[4] = 0;
    const [dx, dy] = [x - p[0]!, y - p[1]!];
    row[5] = -profile(kind, Math.sqrt(dx * dx + dy * dy), p[2]!, p[3]!, p[4]!);
    row[6] = 1;
    row[7] = dx / patch.scalePx;
    row[8] = dy / patch.scalePx;
    const miss = patch.value[k]! - here;
    for (let a = 0; a < unknowns; a++) {
      right[a]! += row[a]! * miss;
      for (let b = a; b < unknowns; b++) normal[a * unknowns + b]! += row[a]! * row[b]!;
    }
  }
  for (let a = 0; a < unknowns; a++)
    for (let b = 0; b < a; b++) normal[a * unknowns + b] = normal[b * unknowns + a]!;
  // An unknown that nothing depends on here (no hole) keeps its value instead of making the matrix singular.
  const floor = 1e-9 * Math.max(...normal) + 1e-12 * squares;
  for (let a = 0; a < unknowns; a++) normal[a * unknowns + a]! += floor;
  return { normal, right };
}

function bounded(
  p: number[],
  start: { readonly xPx: number; readonly yPx: number },
  radius: number,
  kind: ShadowKind,
  slack: Slack,
): number[] {
  const within = (value: number, least: number, most: number) => Math.min(most, Math.max(least, value));
  const [aside, smallest, largest] = slackOf[slack];
  p[0] = within(p[0]!, start.xPx - aside * radius - 1, start.xPx + aside * radius + 1);
  p[1] = within(p[1]!, start.yPx - aside * radius - 1, start.yPx + aside * radius + 1);
  p[2] = within(p[2]!, smallest * radius, largest * radius);
  p[3] = kind === "ring" ? within(p[3]!, 0, 0.75) : 0;
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
