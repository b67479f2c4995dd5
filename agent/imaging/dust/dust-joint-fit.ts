import { Cholesky } from "../numerics/cholesky.ts";
import { radiusSlack } from "./dust-cells.ts";
import type { ShadowFit } from "./dust-fit.ts";
import { JointEquations, type Linearised, unknownsPerShadow } from "./dust-joint-equations.ts";
import type { Residual } from "./dust-shadow.ts";
import { isRing } from "./shadow-profile.ts";

const rounds = 8;
/** Of the criterion: less is not worth another round. */
const gainLeast = 1;
/** Steps gain less and less: what lacks so many times of what the last one gained is not made up for any more. */
const hopeless = 3;

export interface JointFit {
  /** In the order given; a depth of less than nothing says that there is none. */
  readonly shadows: readonly ShadowFit[];
  /** Sum of the squares left, by pixels; how many cells were looked at, and how many unknowns explain them. */
  readonly squares: number;
  readonly cells: number;
  readonly unknowns: number;
}

/**
 * All shadows of a picture and its background (cubic B-splines) by damped least squares at once: where shadows overlap, or are as
 * wide as the background's waves, each knows what the others don't. Kinds stay as they are.
 * Source: K. Levenberg, Quarterly of Applied Mathematics 2 (1944) 164; normal equations by Cholesky factors.
 * @param picture ln F with the shadows in it
 * @param knotPx spacing of the background's knots
 * @param cellPx width of all cells: fits can be compared that look at the same; without it, small cells where shadows are
 * @param toBeat one with the same cells: what can't do better is not fitted to the end
 * @returns the same shadows, with sigmas that include all that is unknown of the others
 */
export function fitJointly(
  picture: Residual,
  shadows: readonly ShadowFit[],
  knotPx: number,
  cellPx?: number,
  toBeat?: JointFit,
): JointFit {
  const equations = new JointEquations(picture, shadows, knotPx, cellPx);
  let splines: Float64Array = new Float64Array(equations.splineCount);
  let ps: Float64Array[] = shadows.map(({ xPx, yPx, radiusPx, holeRatio, edgePx, depth }) =>
    Float64Array.of(xPx, yPx, radiusPx, holeRatio, edgePx, depth),
  );
  let here = equations.about(splines, ps);
  let damping = 1e-3;
  let steps = 0;
  for (let round = 0; round < rounds; round++) {
    const step = dampedStep(here, damping);
    if (!step) break;
    const nextSplines = splines.map((one, k) => one + step[k]!);
    const next = ps.map((p, k) => bounded(equations.moved(p, k, step), shadows[k]!));
    const there = equations.about(nextSplines, next);
    if (!(there.squares < here.squares)) {
      damping *= 20;
      continue;
    }
    const gain = 1 - there.squares / here.squares;
    splines = nextSplines;
    ps = next;
    here = there;
    damping = Math.max(1e-7, damping / 10);
    if (gain < 1e-6 || (toBeat && steps++ > 0 && isHopeless(equations, here.squares, gain, toBeat))) break;
  }
  return {
    shadows: withSigmas(equations, here, ps, shadows),
    squares: here.squares,
    cells: equations.cellCount,
    unknowns: equations.unknownCount,
  };
}

/**
 * Whether one explains a picture better than another for its number of unknowns, by the Bayesian information
 * criterion. Both look at the same cells.
 * Source: G. Schwarz, Annals of Statistics 6 (1978) 461.
 */
export function isBetterFit(one: JointFit, other: JointFit): boolean {
  return criterion(one) < criterion(other) - gainLeast;
}

/** @param gain of the last step, a share of the squares */
function isHopeless(
  { cellCount: cells, unknownCount: unknowns }: JointEquations,
  squares: number,
  gain: number,
  toBeat: JointFit,
): boolean {
  return criterion({ squares, cells, unknowns }) - criterion(toBeat) > -hopeless * cells * Math.log1p(-gain);
}

/** Less is better. */
function criterion({ squares, cells, unknowns }: Omit<JointFit, "shadows">): number {
  return cells * Math.log(squares) + unknowns * Math.log(cells);
}

function dampedStep({ normal, right }: Linearised, damping: number): Float64Array | undefined {
  const n = right.length;
  const damped = normal.slice();
  for (let k = 0; k < n; k++) damped[k * n + k]! *= 1 + damping;
  return Cholesky.of(damped, n)?.solve(right);
}

function withSigmas(
  equations: JointEquations,
  { normal, right, squares, misses }: Linearised,
  ps: readonly Float64Array[],
  shadows: readonly ShadowFit[],
): ShadowFit[] {
  const n = right.length;
  const factors = Cholesky.of(normal, n);
  const variance = squares / Math.max(1, equations.cellCount - n);
  return shadows.map((shadow, k) => {
    const own = misses[k]!;
    // Where the model fits worse than elsewhere, its unknowns are known less.
    const local = Math.max(variance, own.squares / Math.max(1, own.cells - unknownsPerShadow));
    const sigmaOf = (unknown: number) => {
      const unit = new Float64Array(n);
      unit[equations.placeOf(k, unknown)] = 1;
      return factors ? Math.sqrt(local * factors.variance(unit)) : Number.POSITIVE_INFINITY;
    };
    const [xPx, yPx, radiusPx, holeRatio, edgePx, depth] = ps[k]! as unknown as Six;
    return {
      ...shadow,
      xPx,
      yPx,
      radiusPx,
      radiusSigma: sigmaOf(2),
      holeRatio,
      edgePx,
      depth,
      depthSigma: sigmaOf(5),
    };
  });
}

type Six = readonly [number, number, number, number, number, number];

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
