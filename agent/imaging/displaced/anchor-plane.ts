import type { PlaneAcross } from "../combining/plane-across.ts";
import type { Shape } from "../numerics/shape.ts";
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

export function planeAcross(
  { quietSun, levels, xSigma, ySigma }: Anchor,
  { widthPx, heightPx }: Shape,
): PlaneAcross {
  const unsure = Math.hypot(xSigma * widthPx, ySigma * heightPx);
  if (!quietSun || !levels) return { unsure };
  const [x, y] = [(quietSun.x - levels.x) * widthPx, (quietSun.y - levels.y) * heightPx];
  const sigma = Math.hypot(
    Math.hypot(quietSun.xSigma, levels.xSigma) * widthPx,
    Math.hypot(quietSun.ySigma, levels.ySigma) * heightPx,
  );
  const apart = Math.abs(x) + Math.abs(y);
  return { disagreement: { value: apart > 3 * sigma ? apart : 0, sigma }, unsure };
}
