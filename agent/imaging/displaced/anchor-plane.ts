import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { ObjectGrid, ShiftPx } from "./object-grid.ts";

/** Change of a logarithm per pixel, with one sigma. */
export interface Slope {
  readonly x: number;
  readonly y: number;
  readonly xSigma: number;
  readonly ySigma: number;
}

interface Point {
  readonly x: number;
  readonly y: number;
  readonly value: number;
  /** Less towards the edges: texture that a sharp edge cuts off looks like a slope. */
  readonly taper: number;
}

const smoothSigmaPx = 6;

/** Smoothed over 6 px, neighbours tell the same: more points only take time. */
const pointsMost = 20_000;

/**
 * Slope of the quiet Sun in the solved object, which belongs to the gain: a flat Sun has none once limb darkening is out.
 * Right where most of the field is quiet; its sigma is the scatter of four quadrants' own fits.
 * @param object over the limb-darkening model, on the grid
 */
export function quietSunSlope(
  object: Float32Array,
  count: Float32Array,
  grid: ObjectGrid,
): Slope | undefined {
  const use = new Uint8Array(object.length);
  for (let i = 0; i < use.length; i++) use[i] = count[i]! >= 1 ? 1 : 0;
  const smooth = gaussianBlur(object, grid, smoothSigmaPx, use);
  const everyPx = Math.max(4, Math.ceil(Math.sqrt(object.length / pointsMost)));
  const points: Point[] = [];
  for (let y = 0; y < grid.heightPx; y += everyPx) {
    for (let x = 0; x < grid.widthPx; x += everyPx) {
      const i = y * grid.widthPx + x;
      if (use[i] !== 1) continue;
      const taper =
        Math.sin((Math.PI * (x + 0.5)) / grid.widthPx) * Math.sin((Math.PI * (y + 0.5)) / grid.heightPx);
      points.push({
        x: x - grid.widthPx / 2,
        y: y - grid.heightPx / 2,
        value: smooth[i]!,
        taper: Math.sqrt(taper),
      });
    }
  }
  const whole = robustPlane(points);
  if (!whole) return undefined;
  const middle = {
    x: points.reduce((sum, point) => sum + point.x, 0) / points.length,
    y: points.reduce((sum, point) => sum + point.y, 0) / points.length,
  };
  const quadrants = [0, 1, 2, 3].map((quadrant) =>
    robustPlane(
      points.filter(
        (point) => point.x > middle.x === ((quadrant & 1) === 1) && point.y > middle.y === quadrant > 1,
      ),
    ),
  );
  const scatter = (axis: "x" | "y") => {
    const squares = quadrants.map((fit) => ((fit?.[axis] ?? Number.POSITIVE_INFINITY) - whole[axis]) ** 2);
    // A quadrant has half the lever and a quarter of the points of the whole.
    return Math.sqrt(squares.reduce((sum, square) => sum + square, 0) / 4) / 4;
  };
  return { ...whole, xSigma: scatter("x"), ySigma: scatter("y") };
}

/**
 * Tukey's weights, cut at 3 (times 1.4826) median absolute deviations, 12 rounds.
 * Source: A. E. Beaton and J. W. Tukey, Technometrics 16 (1974) 147 (from memory).
 */
function robustPlane(points: readonly Point[]): ShiftPx | undefined {
  let weights = new Float64Array(points.length).fill(1);
  let plane: { mean: number; x: number; y: number } | undefined;
  for (let round = 0; round < 12; round++) {
    plane = weightedPlane(points, weights);
    if (!plane) return undefined;
    const { mean, x, y } = plane;
    const residuals = Float64Array.from(points, (point) => point.value - mean - x * point.x - y * point.y);
    weights = tukeyWeights(residuals, activeCut);
  }
  return plane;
}

/** Active regions are many: cut early. */
const activeCut = 3;
/** Where most is noise: 95 % of a plain mean's efficiency. */
const noiseCut = 4.685;

function tukeyWeights(residuals: Float64Array, cutSigmas: number): Float64Array<ArrayBuffer> {
  const spread = medianAndSigma(residuals);
  const cut = cutSigmas * (spread?.sigma || Number.POSITIVE_INFINITY);
  const middle = spread?.median ?? 0;
  return Float64Array.from(residuals, (residual) => {
    const share = (residual - middle) / cut;
    return Math.abs(share) < 1 ? (1 - share * share) ** 2 : 0;
  });
}

function weightedPlane(points: readonly Point[], weights: Float64Array) {
  const sums = new Float64Array(9);
  points.forEach(({ x, y, value, taper }, i) => {
    const w = weights[i]! * taper;
    const terms = [w, w * x, w * y, w * x * x, w * x * y, w * y * y, w * value, w * value * x, w * value * y];
    for (let k = 0; k < 9; k++) sums[k]! += terms[k]!;
  });
  const [s, sx, sy, sxx, sxy, syy, sv, svx, svy] = sums as unknown as number[];
  const mx = sx! / s!;
  const my = sy! / s!;
  const mv = sv! / s!;
  const [xx, xy, yy] = [sxx! - sx! * mx, sxy! - sx! * my, syy! - sy! * my];
  const [vx, vy] = [svx! - sx! * mv, svy! - sy! * mv];
  const determinant = xx * yy - xy * xy;
  if (!(determinant > 0)) return undefined;
  const x = (yy * vx - xy * vy) / determinant;
  const y = (xx * vy - xy * vx) / determinant;
  return { mean: mv - x * mx - y * my, x, y };
}

const slowFrames = 11;

/**
 * Slope from the frames' brightness: a gradient in the gain looks like a level that goes with the shift. Independent
 * of what the Sun shows; limited by how steady the transparency is from frame to frame.
 * @param levels logarithms, in order of time
 */
export function levelSlope(levels: readonly number[], shifts: readonly ShiftPx[]): Slope | undefined {
  if (levels.length < 8) return undefined;
  const fast = withoutSlow(levels);
  const rows = withoutSlow(shifts.map(({ x }) => x)).map((x, i) => [x, 0, i] as [number, number, number]);
  withoutSlow(shifts.map(({ y }) => y)).forEach((y, i) => {
    rows[i]![1] = y;
  });
  let weights = new Float64Array(levels.length).fill(1);
  let slope: Slope | undefined;
  for (let round = 0; round < 12; round++) {
    const fit = leastSquares(
      rows.map(([x, y], i) => [x * Math.sqrt(weights[i]!), y * Math.sqrt(weights[i]!)]),
      fast.map((level, i) => level * Math.sqrt(weights[i]!)),
    );
    if (!fit) return undefined;
    const [x, y] = fit.solution as [number, number];
    const residuals = Float64Array.from(fast, (level, i) => level - x * rows[i]![0] - y * rows[i]![1]);
    const spread = medianAndSigma(residuals)!.sigma;
    slope = {
      x,
      y,
      xSigma: spread * Math.sqrt(fit.inverse[0]!),
      ySigma: spread * Math.sqrt(fit.inverse[3]!),
    };
    weights = tukeyWeights(residuals, noiseCut);
  }
  return slope;
}

/** Less the running mean of 11, which takes clouds and the Sun's sinking out. */
function withoutSlow(values: readonly number[]): number[] {
  const half = slowFrames >> 1;
  return values.map((value, i) => {
    const near = values.slice(Math.max(0, i - half), i + half + 1);
    return value - near.reduce((sum, one) => sum + one, 0) / near.length;
  });
}

export interface Anchor extends Slope {
  readonly quietSun: Slope | undefined;
  readonly levels: Slope | undefined;
  /** The larger of both axes' |difference| / sigma of the two estimates; `undefined` with less than two. */
  readonly disagreementSigmas: number | undefined;
}

/** Both estimates by inverse variance. */
export function combineSlopes(quietSun: Slope | undefined, levels: Slope | undefined): Anchor | undefined {
  const one = quietSun ?? levels;
  if (!one) return undefined;
  if (!quietSun || !levels) return { ...one, quietSun, levels, disagreementSigmas: undefined };
  const [x, y] = (["x", "y"] as const).map((axis) => {
    const key = `${axis}Sigma` as const;
    const [a, b] = [quietSun[key] ** 2, levels[key] ** 2];
    const sum = Math.max(a + b, 1e-30);
    return {
      value: (quietSun[axis] * b + levels[axis] * a) / sum,
      sigma: Math.sqrt((a * b) / sum),
      apart: Math.abs(quietSun[axis] - levels[axis]) / Math.sqrt(sum),
    };
  }) as [AxisMean, AxisMean];
  return {
    x: x.value,
    y: y.value,
    xSigma: x.sigma,
    ySigma: y.sigma,
    quietSun,
    levels,
    disagreementSigmas: Math.max(x.apart, y.apart),
  };
}

interface AxisMean {
  readonly value: number;
  readonly sigma: number;
  readonly apart: number;
}
