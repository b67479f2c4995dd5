import { doFitsOverlap } from "./dust-cluster.ts";
import { findReplacement, removeShadows } from "./dust-explaining.ts";
import type { ShadowFit } from "./dust-fit.ts";
import { fitJointly, isBetterFit, type JointFit } from "./dust-joint-fit.ts";
import { fitBestKinds } from "./dust-measure.ts";
import type { Residual } from "./dust-shadow.ts";

/** What the criterion asks for is 6 to 8 sigma of a depth, as many unknowns as a shadow has; of twice as much it is not tried to do without. */
const doubtfulSigmas = 15;

/** One less: some out, at most one in their place. */
interface Step {
  readonly out: readonly ShadowFit[];
  readonly instead: readonly ShadowFit[];
}

/**
 * As few shadows as explain a picture. A shadow that was found with a wrong kind or size leaves light that others were found in; each
 * of these then explains something, so that none can be left out alone. Therefore one is tried in place of several that lie in one
 * another, as well as none in place of one whose depth is in doubt; kinds round about are chosen anew and all measured together. What
 * gains by the criterion is taken, until nothing does.
 * @param picture ln F with the shadows in it
 * @param joint of the same picture
 * @param knotPx of its background; and `cellPx`: as it was measured with
 */
export function fewerShadows(picture: Residual, joint: JointFit, knotPx: number, cellPx: number): JointFit {
  let best = joint;
  for (;;) {
    const next = firstThatGains(picture, best, knotPx, cellPx);
    if (!next) return best;
    best = next;
  }
}

function firstThatGains(
  picture: Residual,
  best: JointFit,
  knotPx: number,
  cellPx: number,
): JointFit | undefined {
  for (const { out, instead } of stepsOf(picture, best.shadows)) {
    const kept = best.shadows.filter((one) => !out.includes(one));
    const changed = [...out, ...instead];
    const near = kept.filter((one) => changed.some((other) => doFitsOverlap(one, other)));
    const far = kept.filter((one) => !near.includes(one));
    const refit = fitBestKinds(removeShadows(picture, far), [...near, ...instead]);
    const joint = fitJointly(picture, [...far, ...refit], knotPx, cellPx, best);
    if (isBetterFit(joint, best)) return joint;
  }
  return undefined;
}

function* stepsOf(picture: Residual, shadows: readonly ShadowFit[]): Generator<Step> {
  for (const out of groupsOf(shadows)) {
    const others = shadows.filter((one) => !out.includes(one));
    const one = findReplacement(picture, out, others);
    if (one) yield { out, instead: [one] };
  }
  for (const one of shadows)
    if (one.depth < doubtfulSigmas * one.depthSigma) yield { out: [one], instead: [] };
}

/** Each with all whose middles it holds, and with each of them alone; the largest groups first. */
function groupsOf(shadows: readonly ShadowFit[]): ShadowFit[][] {
  const groups = new Map<string, ShadowFit[]>();
  for (const one of shadows) {
    const held = shadows.filter((other) => other !== one && holds(one, other));
    for (const group of [held, ...held.map((other) => [other])]) {
      const all = shadows.filter((other) => other === one || group.includes(other));
      if (all.length > 1) groups.set(all.map((other) => shadows.indexOf(other)).join(), all);
    }
  }
  return [...groups.values()].sort((a, b) => b.length - a.length);
}

function holds(one: ShadowFit, other: ShadowFit): boolean {
  return Math.hypot(one.xPx - other.xPx, one.yPx - other.yPx) < one.radiusPx;
}
