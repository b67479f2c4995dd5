import { neighbourNoise } from "../noise/neighbour-noise.ts";
import { type DustCandidate, dustCandidates } from "./dust-candidates.ts";
import type { FitFreedom } from "./dust-fit.ts";
import { darkShare, scatterAround, snrMin, stepOverRim } from "./dust-judge.ts";
import { pursueShadows } from "./dust-pursuit.ts";
import {
  dropDuplicates,
  isPlausible,
  isSame,
  kindsFor,
  mergeConcentric,
  type Place,
  refitShadows,
  shadowPlace,
} from "./dust-refit.ts";
import { rimCandidates } from "./dust-rims.ts";
import { addShadow, fitShadowNear, type Residual, type Shadow } from "./dust-shadow.ts";

/** A candidate whose rim rises by less than this share of what it promised was part of a shadow that has been taken out. */
const rimShare = 0.5;

const candidatesMost = 150;

/** All rims that can be told, their depths at once; then each by itself with the others out of the way. */
export function detectShadows(clean: Residual, leastAsked: number | undefined): Shadow[] {
  const { shape, values, usePx } = clean;
  const rims: DustCandidate[] = [];
  for (const candidate of rimCandidates(values, usePx, shape, Math.min(shape.widthPx, shape.heightPx) / 3)) {
    if (rims.length >= candidatesMost) break;
    if (!rims.some((other) => isNear(other, candidate))) rims.push(candidate);
  }
  const least = leastDepth(clean, leastAsked);
  const first = pursueShadows(values, usePx, shape, rims, least / 2)
    .filter(({ depth }) => depth > least / 2)
    .map(
      (joint): Shadow => ({
        fit: {
          ...joint,
          kind: "disc",
          holeRatio: 0,
          radiusSigma: 0,
          depthSigma: 0,
          miss: 0,
          pixels: 0,
          worth: 0,
        },
        leftOver: [],
        ringPx: 1,
      }),
    )
    .filter(({ fit }) => isPlausible(fit, shape));
  for (const shadow of first) addShadow(clean, shadow, 1);
  const largestFirst = first.toSorted((a, b) => worthOf(b) - worthOf(a));
  let shadows = mergeConcentric(clean, refitShadows(clean, refitShadows(clean, largestFirst, true), true));
  shadows = shadows.filter((shadow) => {
    if (shadow.fit.depth > least / 2) return true;
    addShadow(clean, shadow, -1);
    return false;
  });
  return dropDuplicates(clean, shadows);
}

function worthOf({ fit }: Shadow): number {
  return fit.depth * fit.radiusPx;
}

/** Closer than the joint solution could tell apart. */
function isNear(a: Place, b: Place): boolean {
  const ratio = a.diameterPx / b.diameterPx;
  return Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx) < 0.12 * b.diameterPx && ratio > 0.85 && ratio < 1.18;
}

/** First by their rims, then what blobs are left, dark or bright. */
export function detectMissedShadows(
  clean: Residual,
  known: readonly Shadow[],
  leastAsked: number | undefined,
  blobs: boolean,
): Shadow[] {
  const { shape, values, usePx } = clean;
  const largestPx = Math.min(shape.widthPx, shape.heightPx) / 3;
  const found: Shadow[] = [];
  const least = leastDepth(clean, leastAsked);
  const look = (candidates: readonly DustCandidate[], slack: FitFreedom) => {
    const tried: DustCandidate[] = [];
    for (const candidate of candidates) {
      if (tried.length >= candidatesMost) break;
      if (tried.some((other) => isSame(other, candidate))) continue;
      const sign = Math.sign(candidate.contrast);
      const step = sign * stepOverRim(clean, candidate);
      if (step < Math.max(rimShare * sign * candidate.contrast, least / 4)) continue;
      tried.push(candidate);
      const shadow = fitShadowNear(
        clean,
        candidate,
        slack === "little" ? ["disc", "ring"] : kindsFor(sign),
        slack,
        least,
      );
      if (!shadow || sign * shadow.fit.depth < least || !isPlausible(shadow.fit, shape)) continue;
      if ([...known, ...found].some((other) => isSame(shadowPlace(other), shadowPlace(shadow)))) continue;
      const sigma = sign > 0 ? scatterAround(clean, shadow.fit, darkShare.first) : shadow.fit.depthSigma;
      if (
        sigma === undefined ||
        sign * shadow.fit.depth < snrMin[slack === "little" ? "first" : "last"] * sigma
      )
        continue;
      addShadow(clean, shadow, 1);
      found.push(shadow);
    }
  };
  look(rimCandidates(values, usePx, shape, largestPx), "little");
  if (blobs) look(dustCandidates(values, usePx, shape, largestPx), "much");
  return found;
}

/** A shadow much shallower than a pixel's own noise can't be told from the background's waves. */
export function leastDepth({ values, usePx, shape }: Residual, leastAsked: number | undefined): number {
  const noise = neighbourNoise(values, usePx, shape.widthPx) ?? 0;
  return Math.max(leastAsked ?? 0.002, 2 * noise);
}
