import type { Shape } from "../numerics/shape.ts";
import type { DustCandidate } from "./dust-candidates.ts";
import type { ShadowFit } from "./dust-fit.ts";
import { isMostlySeen } from "./dust-judge.ts";
import { addShadow, fitShadowNear, type Residual, type Shadow } from "./dust-shadow.ts";

const mergeMiss = 1.3;

/** One speck within a larger shadow is nothing unusual. */
const piecesLeast = 3;

/** Bright bumps are reflections and wide: narrower ones are what a fit of a shadow has left. A share of the shorter side. */
const leastBump = 0.1;

export type Place = Pick<DustCandidate, "xPx" | "yPx" | "diameterPx">;

export function shadowPlace({ fit: { xPx, yPx, radiusPx } }: Shadow): Place {
  return { xPx, yPx, diameterPx: 2 * radiusPx };
}

/** Two sightings of one thing. */
export function isSame(a: Place, b: Place): boolean {
  const ratio = a.diameterPx / b.diameterPx;
  const apart = Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);
  return apart < 0.2 * Math.min(a.diameterPx, b.diameterPx) && ratio > 0.6 && ratio < 1.7;
}

/** No shadow is as large as the frame, and what is not in it can't be seen. */
export function isPlausible(fit: ShadowFit, shape: Shape): boolean {
  const shorterPx = Math.min(shape.widthPx, shape.heightPx);
  const [least, most] = fit.depth > 0 ? [0, 0.45] : [leastBump, 0.7];
  const share = (2 * fit.radiusPx) / shorterPx;
  return share >= least && share <= most && isMostlySeen(fit, shape);
}

export function kindsFor(depth: number) {
  return depth > 0 ? (["disc", "ring", "bell"] as const) : (["bell"] as const);
}

/** Each anew with all others out of the way; what is nothing any more is given back to the picture. */
export function refitShadows(clean: Residual, shadows: readonly Shadow[], anyKind = false): Shadow[] {
  const kept: Shadow[] = [];
  for (const shadow of shadows) {
    addShadow(clean, shadow, -1);
    const { fit } = shadow;
    const again = fitShadowNear(
      clean,
      shadowPlace(shadow),
      anyKind ? kindsFor(fit.depth) : [fit.kind],
      "little",
    );
    if (
      !again ||
      again.fit.depth * fit.depth <= 0 ||
      !isPlausible(again.fit, clean.shape) ||
      kept.some((other) => isSame(shadowPlace(other), shadowPlace(again)))
    )
      continue;
    addShadow(clean, again, 1);
    kept.push(again);
  }
  return kept;
}

/** What is dropped as seen twice gives its share back to the one that stays, which then has to be fitted anew. */
export function dropDuplicates(clean: Residual, shadows: readonly Shadow[]): Shadow[] {
  let before = [...shadows];
  for (let round = 0; round < 4; round++) {
    const after = refitShadows(clean, before);
    if (round > 0 && after.length === before.length) return after;
    before = after;
  }
  return before;
}

/** A soft shadow is seen as two hard ones about one middle: one is kept if it explains the pixels nearly as well. */
export function mergeConcentric(clean: Residual, shadows: readonly Shadow[]): Shadow[] {
  const kept: Shadow[] = [];
  for (const shadow of shadows) {
    const k = kept.findIndex((other) => isConcentric(shadowPlace(other), shadowPlace(shadow)));
    const other = kept[k];
    if (!other) {
      kept.push(shadow);
      continue;
    }
    addShadow(clean, shadow, -1);
    addShadow(clean, other, -1);
    const [a, b] = [shadowPlace(shadow), shadowPlace(other)];
    const between = {
      ...(a.diameterPx > b.diameterPx ? a : b),
      diameterPx: (a.diameterPx + b.diameterPx) / 2,
    };
    const one = fitShadowNear(clean, between, kindsFor(1), "much");
    if (one && one.fit.depth > 0 && one.fit.miss < mergeMiss * Math.min(shadow.fit.miss, other.fit.miss)) {
      kept[k] = one;
      addShadow(clean, one, 1);
    } else {
      addShadow(clean, other, 1);
      addShadow(clean, shadow, 1);
      kept.push(shadow);
    }
  }
  return kept;
}

/** Pieces in and at a larger shadow are its own if it explains the pixels about as well without them. */
export function dropPieces(clean: Residual, shadows: readonly Shadow[]): Shadow[] {
  let kept = shadows.toSorted((a, b) => b.fit.radiusPx - a.fit.radiusPx);
  for (const large of [...kept]) {
    if (!kept.includes(large) || large.fit.depth <= 0) continue;
    const pieces = kept.filter((other) => isPieceOf(large.fit, other.fit));
    if (pieces.length < piecesLeast) continue;
    for (const one of [large, ...pieces]) addShadow(clean, one, -1);
    const whole = fitShadowNear(clean, shadowPlace(large), kindsFor(1), "little");
    if (whole && whole.fit.miss < mergeMiss * large.fit.miss) {
      addShadow(clean, whole, 1);
      kept = kept.filter((one) => !pieces.includes(one)).map((one) => (one === large ? whole : one));
    } else for (const one of [large, ...pieces]) addShadow(clean, one, 1);
  }
  return kept;
}

function isPieceOf(large: ShadowFit, { xPx, yPx, radiusPx, depth }: ShadowFit): boolean {
  const apart = Math.hypot(xPx - large.xPx, yPx - large.yPx);
  return depth > 0 && apart < 1.1 * large.radiusPx && radiusPx < 0.6 * large.radiusPx;
}

function isConcentric(a: Place, b: Place): boolean {
  const ratio = a.diameterPx / b.diameterPx;
  const apart = Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);
  return apart < 0.15 * Math.min(a.diameterPx, b.diameterPx) + 1 && ratio > 0.4 && ratio < 2.5;
}
