import { without } from "./dust-explaining.ts";
import { fitShadow, type ShadowFit } from "./dust-fit.ts";
import { jointFit } from "./dust-joint-fit.ts";
import { bare, fill, type Residual, type Shadow } from "./dust-shadow.ts";
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
export function measuredFits(clean: Residual, shadows: readonly Shadow[], knotPx: number): ShadowFit[] {
  const all = [...shadows];
  const dark = [...all.keys()].filter((k) => all[k]!.fit.depth > 0);
  for (let round = 0; round < rounds; round++) {
    for (const k of dark) {
      fill(clean, all[k]!, -1);
      all[k] = bare(ofBestKind(clean, all[k]!.fit));
      fill(clean, all[k]!, 1);
    }
    for (const k of dark) fill(clean, all[k]!, -1);
    const { shadows: fits } = jointFit(
      clean,
      dark.map((k) => all[k]!.fit),
      knotPx,
    );
    for (const [n, k] of dark.entries()) {
      all[k] = bare(fits[n]!);
      fill(clean, all[k]!, 1);
    }
  }
  return all.map(({ fit }) => fit);
}

/**
 * Each of the best kind by itself, the others out of the way as they were.
 * @param picture ln F with the shadows in it
 */
export function withBestKinds(picture: Residual, shadows: readonly ShadowFit[]): ShadowFit[] {
  const left = without(picture, shadows);
  return shadows.map((one) => {
    fill(left, bare(one), -1);
    const best = ofBestKind(left, one);
    fill(left, bare(one), 1);
    return best;
  });
}

/** The kind that explains the pixels about it best for its number of unknowns, the others out of the way. */
export function ofBestKind({ values, usePx, shape }: Residual, fit: ShadowFit): ShadowFit {
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
