import type { ShiftPx } from "../displaced/object-grid.ts";
import { leastSquares } from "../numerics/linear-solve.ts";
import type { Shape } from "../numerics/shape.ts";

/** Slope of the light across the frame's width and height, as far as the looks' levels tell it. */
export interface SlopeBound {
  readonly across: number;
  readonly down: number;
  readonly acrossSigma: number;
  readonly downSigma: number;
}

/** With fewer looks there is nothing left to tell how steady the sky was. */
const looksLeast = 6;

/**
 * A slope of the light makes the Sun brighter the farther a look is displaced along it. The sky's transparency does so too:
 * what is even in time is taken out, and the scatter of the rest is in the sigma. A gradient of the sky that stays the same from look to
 * look can't be told from the light's: what is found is a bound and no measurement.
 * @param levels logarithms, of the looks in the order that they were taken
 */
export function slopeByLevels(
  levels: readonly number[],
  shifts: readonly ShiftPx[],
  { widthPx, heightPx }: Shape,
): SlopeBound | undefined {
  if (levels.length < looksLeast) return undefined;
  const design = shifts.map(({ x, y }, k) => [1, x / widthPx, y / heightPx, k / levels.length - 0.5]);
  const fit = leastSquares(design, levels);
  if (!fit) return undefined;
  const sigma = (term: number) => fit.residualSd * Math.sqrt(fit.inverse[5 * term]!);
  return { across: fit.solution[1]!, down: fit.solution[2]!, acrossSigma: sigma(1), downSigma: sigma(2) };
}
