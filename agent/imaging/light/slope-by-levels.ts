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
 * what is even in time is taken out, and the scatter of the rest is in the sigma. So is a gradient of the haze that stays the
 * same from look to look: it can't be told from the light's.
 * @param levels logarithms, of the looks in the order that they were taken
 * @param hazeGradient one sigma of what changes from look to look, across the frame
 */
export function slopeByLevels(
  levels: readonly number[],
  shifts: readonly ShiftPx[],
  { widthPx, heightPx }: Shape,
  hazeGradient: number,
): SlopeBound | undefined {
  if (levels.length < looksLeast) return undefined;
  const design = shifts.map(({ x, y }, k) => [1, x / widthPx, y / heightPx, k / levels.length - 0.5]);
  const fit = leastSquares(design, levels);
  if (!fit) return undefined;
  const sigma = (term: number) =>
    Math.hypot(fit.residualSd * Math.sqrt(fit.inverse[5 * term]!), hazeGradient);
  return { across: fit.solution[1]!, down: fit.solution[2]!, acrossSigma: sigma(1), downSigma: sigma(2) };
}

const foundSigmas = 5;

/** Whether levels tell of a slope beyond what the sky does. */
export function isSlopeFound({ across, down, acrossSigma, downSigma }: SlopeBound): boolean {
  return Math.abs(across) > foundSigmas * acrossSigma || Math.abs(down) > foundSigmas * downSigma;
}
