import { removeShadows } from "./dust-explaining.ts";
import { fitShadow, type ShadowFit } from "./dust-fit.ts";
import { fitJointly } from "./dust-joint-fit.ts";
import { addShadow, type Residual, type Shadow, shadowOfFit } from "./dust-shadow.ts";
import { isRing, type ShadowKind } from "./shadow-profile.ts";

const kinds: readonly ShadowKind[] = ["disc", "softDisc", "ring", "softRing", "bell"];
/** A bell has light to tell of up to here, in radii; and a rim is told by many pixels. */
const look = { reach: 2.4, samples: 2500 };
const rounds = 2;

/**
 * Measures the shadows that a search has found: of each the kind that explains the same pixels best for its number of
 * unknowns, the others out of the way; then all of them together. Nothing is taken out with a shadow but itself: what a search
 * leaves of one is taken from its neighbours.
 * Source of the choice: G. Schwarz, Annals of Statistics 6 (1978) 461.
 * @param knotPx of the background, which is measured along
 * @returns a fit for each, in order; bright bumps stay as they were found
 */
export function measureShadows(clean: Residual, shadows: readonly Shadow[], knotPx: number): ShadowFit[] {
  const all = [...shadows];
  const dark = [...all.keys()].filter((k) => all[k]!.fit.depth > 0);
  for (let round = 0; round < rounds; round++) {
    for (const k of dark) {
      addShadow(clean, all[k]!, -1);
      all[k] = shadowOfFit(fitBestKind(clean, all[k]!.fit));
      addShadow(clean, all[k]!, 1);
    }
    for (const k of dark) addShadow(clean, all[k]!, -1);
    const { shadows: fits } = fitJointly(
      clean,
      dark.map((k) => all[k]!.fit),
      knotPx,
    );
    for (const [n, k] of dark.entries()) {
      all[k] = shadowOfFit(fits[n]!);
      addShadow(clean, all[k]!, 1);
    }
  }
  return all.map(({ fit }) => fit);
}

/**
 * Each of the best kind by itself, the others out of the way as they were.
 * @param picture ln F with the shadows in it
 */
export function fitBestKinds(picture: Residual, shadows: readonly ShadowFit[]): ShadowFit[] {
  const left = removeShadows(picture, shadows);
  return shadows.map((one) => {
    addShadow(left, shadowOfFit(one), -1);
    const best = fitBestKind(left, one);
    addShadow(left, shadowOfFit(one), 1);
    return best;
  });
}

/** The kind that explains the pixels about it best for its number of unknowns, the others out of the way. */
export function fitBestKind({ values, usePx, shape }: Residual, fit: ShadowFit): ShadowFit {
  const { xPx, yPx, radiusPx, holeRatio } = fit;
  const start = { xPx, yPx, diameterPx: 2 * radiusPx, holeRatio, ...look };
  let best: ShadowFit | undefined;
  for (const kind of kinds) {
    const tried = fitShadow(values, usePx, shape, start, kind, "little");
    if (!tried || tried.depth <= 0 || (isRing(kind) && tried.holeRatio < 0.1)) continue;
    if (!best || tried.worth > best.worth) best = tried;
  }
  return best ?? fit;
}
