import { leastSquares } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";

export interface LevelSeen {
  readonly shift: { readonly x: number; readonly y: number };
  readonly utcMs: number;
  /** Logarithm; see `SkySurface.levels`. */
  readonly level: number;
}

/** Gradient of the light over the frame, logarithm [1/px]. */
export interface SkyPlane {
  readonly x: number;
  readonly y: number;
  readonly xSigma: number;
  readonly ySigma: number;
  /** Peak to peak across the frame: one sigma, and half of how far the first rounds lie from the last. */
  readonly acrossSigma: number;
  readonly halvesApart: number;
}

/** Transparency within a round: a polynomial of time of this degree. */
const skyDegree = 4;
/** One sigma of a mean of few: Student's factor for four rounds. */
const fewRounds = 1.2;

/**
 * The gradient of the light from the levels of looks: where the Sun's picture is shifted by d, the level changes by
 * -gradient · d. Each round of looks has its own level and its own change of transparency, smooth in time; the order of
 * the looks (there and back, the other way about in the next round) keeps the two apart. The scatter between rounds is
 * the uncertainty.
 * @param rounds at least two, each with looks on two sides of the middle along both axes and back
 */
export function skyPlane(rounds: readonly (readonly LevelSeen[])[], shape: Shape): SkyPlane | undefined {
  const planes = rounds.flatMap((round) => {
    const [startMs, endMs] = [round[0]!.utcMs, round.at(-1)!.utcMs];
    const fit = leastSquares(
      round.map(({ shift, utcMs }) => {
        const time = (2 * (utcMs - startMs)) / Math.max(1, endMs - startMs) - 1;
        return [
          ...Array.from({ length: skyDegree + 1 }, (_, k) => time ** k),
          -shift.x / 100,
          -shift.y / 100,
        ];
      }),
      round.map(({ level }) => level),
    );
    const [x, y] = fit?.solution.slice(-2) ?? [];
    return x === undefined || y === undefined ? [] : [{ x: x / 100, y: y / 100 }];
  });
  if (planes.length < 2) return undefined;
  const [x, y] = [meanAndSigma(planes.map((plane) => plane.x)), meanAndSigma(planes.map((plane) => plane.y))];
  const { widthPx, heightPx } = shape;
  const half = Math.ceil(planes.length / 2);
  const mean = (part: typeof planes, axis: "x" | "y") =>
    part.reduce((sum, plane) => sum + plane[axis], 0) / part.length;
  const [early, late] = [planes.slice(0, half), planes.slice(-half)];
  return {
    x: x.mean,
    y: y.mean,
    xSigma: x.sigma,
    ySigma: y.sigma,
    acrossSigma: Math.hypot(x.sigma * widthPx, y.sigma * heightPx),
    halvesApart:
      0.5 *
      Math.hypot(
        (mean(early, "x") - mean(late, "x")) * widthPx,
        (mean(early, "y") - mean(late, "y")) * heightPx,
      ),
  };
}

function meanAndSigma(values: readonly number[]): { mean: number; sigma: number } {
  const mean = values.reduce((sum, value) => sum + value, 0) / values.length;
  const squares = values.reduce((sum, value) => sum + (value - mean) ** 2, 0);
  return { mean, sigma: fewRounds * Math.sqrt(squares / (values.length - 1) / values.length) };
}
