import type { Slope } from "./slope.ts";

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
