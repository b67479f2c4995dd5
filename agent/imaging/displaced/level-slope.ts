import { leastSquares } from "../numerics/linear-solve.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { ShiftPx } from "./object-grid.ts";
import { tukeyWeights } from "./robust-plane.ts";
import type { Slope } from "./slope.ts";

/** Where most is noise: 95 % of a plain mean's efficiency. */
const noiseCut = 4.685;
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
    const residuals = mapInto(
      new Float64Array(fast.length),
      fast,
      (level, i) => level - x * rows[i]![0] - y * rows[i]![1],
    );
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
