import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import { logShadow, type ShadowPlace } from "./refocus-shadows.ts";

export interface ShadowGrowth {
  /** Of the change that a longer way to the sensor makes, as much as was seen: 1 when it is longer, -1 when it is shorter. */
  readonly share: number;
  readonly sigma: number;
}

/** Half a window's side, in diameters of its shadow. */
const windowDiameters = 0.9;
const pixelsLeast = 60;

/**
 * How dust shadows changed from the flat to a picture with the focuser elsewhere, against what they change by when the
 * sensor moves away from the aperture. Around each shadow the light is a curved surface of its own.
 * @param other levels above the pedestal, any scale
 * @param litPx 1 where that picture can be used
 * @param ratio way to the sensor then over that of the flat, were it the longer one; above 1
 * @returns `undefined` without a shadow to tell it by
 */
export function shadowGrowth(
  flat: Flat,
  other: Float32Array,
  litPx: Uint8Array,
  shadows: readonly ShadowPlace[],
  ratio: number,
): ShadowGrowth | undefined {
  const { widthPx, heightPx } = flat.shape;
  const usePx = findTrustedPx(flat);
  let [weights, sum] = [0, 0];
  for (const { xPx, yPx, diameterPx, depth, ring } of shadows) {
    if (ring) continue;
    const rimPx = diameterPx * Math.sqrt(depth);
    const [here, there] = [
      logShadow(diameterPx, depth, rimPx),
      logShadow(diameterPx / ratio, depth * ratio ** 2, rimPx),
    ];
    const reach = windowDiameters * diameterPx;
    const rows: number[][] = [];
    const values: number[] = [];
    for (let y = Math.max(0, Math.ceil(yPx - reach)); y <= Math.min(heightPx - 1, yPx + reach); y++)
      for (let x = Math.max(0, Math.ceil(xPx - reach)); x <= Math.min(widthPx - 1, xPx + reach); x++) {
        const i = y * widthPx + x;
        if (usePx[i] !== 1 || litPx[i] !== 1) continue;
        const [u, v] = [(x - xPx) / reach, (y - yPx) / reach];
        const away = Math.hypot(x - xPx, y - yPx);
        rows.push([1, u, v, u * u, u * v, v * v, 100 * (there(away) - here(away))]);
        values.push(Math.log(other[i]! / flat.gain[i]!));
      }
    const fit = rows.length < pixelsLeast ? undefined : leastSquares(rows, values);
    if (!fit) continue;
    const variance = fit.inverse.at(-1)! * (100 * fit.residualSd) ** 2;
    sum += (100 * fit.solution.at(-1)!) / variance;
    weights += 1 / variance;
  }
  return weights > 0 ? { share: sum / weights, sigma: 1 / Math.sqrt(weights) } : undefined;
}
