import { dustCandidates } from "./dust-candidates.ts";
import { type FitStart, fitShadow, type ShadowFit } from "./dust-fit.ts";
import { isMostlySeen } from "./dust-judge.ts";
import { kindsFor } from "./dust-refit.ts";
import { rimCandidates } from "./dust-rims.ts";
import { addShadow, type Residual, shadowOfFit } from "./dust-shadow.ts";
import { isRing } from "./shadow-profile.ts";

/** Of rims and of blobs, so many that promise most are tried. */
const triedMost = 4;

/**
 * The one more shadow that explains most of what others leave.
 * @param picture ln F with the shadows in it
 */
export function findNextShadow(picture: Residual, others: readonly ShadowFit[]): ShadowFit | undefined {
  const { shape, usePx } = picture;
  const left = removeShadows(picture, others);
  const largestPx = 0.9 * Math.min(shape.widthPx, shape.heightPx);
  return mostExplaining(left, [
    ...rimCandidates(left.values, usePx, shape, largestPx).slice(0, triedMost),
    ...dustCandidates(left.values, usePx, shape, largestPx)
      .filter(({ contrast }) => contrast > 0)
      .slice(0, triedMost),
  ]);
}

/** The one shadow that explains most of the light of several, looked for at the place of each and at the middle of all. */
export function findReplacement(
  picture: Residual,
  several: readonly ShadowFit[],
  others: readonly ShadowFit[],
): ShadowFit | undefined {
  const light = several.map(({ depth, radiusPx }) => Math.max(0, depth) * radiusPx * radiusPx);
  const all = light.reduce((a, b) => a + b);
  const starts = several.map(({ xPx, yPx, radiusPx }) => ({ xPx, yPx, diameterPx: 2 * radiusPx }));
  const mean = (of: (start: FitStart) => number) =>
    starts.reduce((sum, start, k) => sum + (light[k]! / all) * of(start), 0);
  const middle = {
    xPx: mean((at) => at.xPx),
    yPx: mean((at) => at.yPx),
    diameterPx: mean((at) => at.diameterPx),
  };
  return mostExplaining(removeShadows(picture, others), all > 0 ? [middle, ...starts] : starts);
}

/** The picture with the light of some shadows given back. */
export function removeShadows(picture: Residual, shadows: readonly ShadowFit[]): Residual {
  const left: Residual = { ...picture, values: picture.values.slice() };
  for (const one of shadows) addShadow(left, shadowOfFit(one), 1);
  return left;
}

function mostExplaining(left: Residual, starts: readonly FitStart[]): ShadowFit | undefined {
  const { values, usePx, shape } = left;
  const squares = squaresOf(left);
  let best: { readonly fit: ShadowFit; readonly explains: number } | undefined;
  for (const start of starts)
    for (const kind of kindsFor(1)) {
      const fit = fitShadow(values, usePx, shape, start, kind);
      if (!fit || fit.depth <= 0 || (isRing(kind) && fit.holeRatio < 0.1) || !isMostlySeen(fit, shape))
        continue;
      addShadow(left, shadowOfFit(fit), 1);
      const explains = squares - squaresOf(left);
      addShadow(left, shadowOfFit(fit), -1);
      if (explains > (best?.explains ?? 0)) best = { fit, explains };
    }
  return best?.fit;
}

function squaresOf({ values, usePx }: Residual): number {
  let squares = 0;
  for (let i = 0; i < values.length; i++) if (usePx[i] === 1) squares += values[i]! * values[i]!;
  return squares;
}
