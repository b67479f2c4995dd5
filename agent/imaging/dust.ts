import { smoothBackground } from "./dust-background.ts";
import { type DustCandidate, dustCandidates } from "./dust-candidates.ts";
import type { ShadowFit, Slack } from "./dust-fit.ts";
import { jointShadows } from "./dust-joint.ts";
import { isCut, isMostlySeen, scatterAround, stepOverRim } from "./dust-judge.ts";
import { rimCandidates } from "./dust-rims.ts";
import { fill, type Residual, type Shadow, shadowNear } from "./dust-shadow.ts";
import { trusted } from "./flat-shape.ts";
import { neighbourNoise } from "./neighbour-noise.ts";
import type { Flat } from "./normalise-flat.ts";
import type { Shape } from "./shape.ts";

export interface DustFound {
  /** Of the centre; outside the frame when its edge cuts the shadow. */
  readonly xPx: number;
  readonly yPx: number;
  /** Between the points of half depth. */
  readonly diameterPx: number;
  /** Light lost in the shadow, a share of the level. */
  readonly depth: number;
  /** One sigma of the depth, from its scatter around the shadow. */
  readonly depthSigma: number;
  readonly snr: number;
  /** A bright middle: the shadow of a central obstruction. */
  readonly ring: boolean;
  /** Of the speck from the sensor, in air; only where the focal ratio is known. */
  readonly distanceMm?: number;
}

export interface DustOptions {
  readonly focalRatio?: number;
  readonly pixelMicron?: number;
  /** Shallower shadows are not reported. Default 0.2 %: what shows in a processed image. */
  readonly leastDepth?: number;
}

/** Spacing of the background's knots in each pass, a share of the frame's longer side: finer as shadows are known. */
const knotShares = [0.2, 0.14, 0.12];
/** Of a depth over its scatter: at first sight, while others still lie over it, and in the end. */
const snrMin = { first: 3, last: 7 };
/** A candidate whose rim rises by less than this share of what it promised was part of a shadow that has been taken out. */
const rimShare = 0.5;
/** A shadow is dark in most directions while others still lie over it, and in nearly all when they have been taken out. */
const darkShare = { first: 0.6, last: 0.85 };
const candidatesMost = 150;
/** Bright bumps are reflections and wide: narrower ones are what a fit of a shadow has left. A share of the shorter side. */
const leastBump = 0.1;

/**
 * Dust shadows in a flat. Blobs darker than their surroundings are fitted as disc, ring or bell, must be dark in all
 * directions, and are taken out together with what the fit leaves round about, so that a large one is not found again in
 * its own remains. Then all are fitted anew with the others out of the way: so overlapping ones are told apart. Bright
 * bumps are taken out in the same way and not reported.
 */
export function findDust(flat: Flat, options: DustOptions = {}): DustFound[] {
  const { shape } = flat;
  const usePx = trusted(flat);
  const clean: Residual = { shape, usePx, values: logsOf(flat, usePx) };
  const longerPx = Math.max(shape.widthPx, shape.heightPx);
  let shadows: Shadow[] = [];
  for (const [pass, share] of knotShares.entries()) {
    const background = smoothBackground(clean.values, usePx, shape, share * longerPx);
    subtract(clean.values, background, usePx);
    shadows = pass === 0 ? firstShadows(clean, options) : refitted(clean, shadows);
    shadows = [...shadows, ...newShadows(clean, shadows, options, pass > 0)];
    shadows = refitted(clean, refitted(clean, shadows), true);
    subtract(
      clean.values,
      background.map((value) => -value),
      usePx,
    );
  }
  const background = smoothBackground(clean.values, usePx, shape, knotShares.at(-1)! * longerPx);
  subtract(clean.values, background, usePx);
  if (process.env.DUSTDEBUG)
    for (const { fit } of shadows)
      console.log(
        "     raw",
        fit.kind,
        fit.xPx.toFixed(0),
        fit.yPx.toFixed(0),
        (2 * fit.radiusPx).toFixed(1),
        (100 * fit.depth).toFixed(2),
      );
  return shadows
    .flatMap((shadow) => told(clean, shadow, shadows, options))
    .sort((a, b) => b.depth * b.diameterPx - a.depth * a.diameterPx);
}

function logsOf(flat: Flat, usePx: Uint8Array): Float32Array {
  return flat.gain.map((gain, i) => (usePx[i] === 1 ? Math.log(gain) : 0));
}

function subtract(values: Float32Array, others: Float32Array, usePx: Uint8Array): void {
  for (let i = 0; i < values.length; i++) if (usePx[i] === 1) values[i]! -= others[i]!;
}

/** Each anew with all others out of the way; what is nothing any more is given back to the picture. */
function refitted(clean: Residual, shadows: readonly Shadow[], anyKind = false): Shadow[] {
  const kept: Shadow[] = [];
  for (const shadow of shadows) {
    fill(clean, shadow, -1);
    const { fit } = shadow;
    const again = shadowNear(clean, placeOf(shadow), anyKind ? kindsFor(fit.depth) : [fit.kind], "little");
    if (
      !again ||
      again.fit.depth * fit.depth <= 0 ||
      !isPlausible(again.fit, clean.shape) ||
      kept.some((other) => isSame(placeOf(other), placeOf(again)))
    )
      continue;
    fill(clean, again, 1);
    kept.push(again);
  }
  return kept;
}

/** No shadow is as large as the frame, and what is not in it can't be seen. */
function isPlausible(fit: ShadowFit, shape: Shape): boolean {
  const shorterPx = Math.min(shape.widthPx, shape.heightPx);
  const [least, most] = fit.depth > 0 ? [0, 0.45] : [leastBump, 0.7];
  const share = (2 * fit.radiusPx) / shorterPx;
  return share >= least && share <= most && isMostlySeen(fit, shape);
}

function kindsFor(depth: number) {
  return depth > 0 ? (["disc", "ring", "bell"] as const) : (["bell"] as const);
}

type Place = Pick<DustCandidate, "xPx" | "yPx" | "diameterPx">;

function placeOf({ fit: { xPx, yPx, radiusPx } }: Shadow): Place {
  return { xPx, yPx, diameterPx: 2 * radiusPx };
}

/** Two sightings of one thing. */
function isSame(a: Place, b: Place): boolean {
  const ratio = a.diameterPx / b.diameterPx;
  const apart = Math.hypot(a.xPx - b.xPx, a.yPx - b.yPx);
  return apart < 0.2 * Math.min(a.diameterPx, b.diameterPx) && ratio > 0.6 && ratio < 1.7;
}

/** All rims that can be told, their depths at once; then each by itself with the others out of the way. */
function firstShadows(clean: Residual, options: DustOptions): Shadow[] {
  const { shape, values, usePx } = clean;
  const rims: DustCandidate[] = [];
  for (const candidate of rimCandidates(values, usePx, shape, Math.min(shape.widthPx, shape.heightPx) / 3)) {
    if (rims.length >= candidatesMost) break;
    if (!rims.some((other) => isNear(other, candidate))) rims.push(candidate);
  }
  const least = leastDepth(clean, options);
  const first = jointShadows(values, usePx, shape, rims)
    .filter(({ depth }) => depth > least / 2)
    .map(
      (joint): Shadow => ({
        fit: { ...joint, kind: "disc", holeRatio: 0, depthSigma: 0, miss: 0, pixels: 0 },
        leftOver: [],
        ringPx: 1,
      }),
    )
    .filter(({ fit }) => isPlausible(fit, shape));
  for (const shadow of first) fill(clean, shadow, 1);
  const largestFirst = first.toSorted((a, b) => worthOf(b) - worthOf(a));
  let shadows = refitted(clean, refitted(clean, largestFirst, true), true);
  shadows = shadows.filter((shadow) => {
    if (shadow.fit.depth > least / 2) return true;
    fill(clean, shadow, -1);
    return false;
  });
  return refitted(clean, shadows);
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
function newShadows(
  clean: Residual,
  known: readonly Shadow[],
  options: DustOptions,
  blobs: boolean,
): Shadow[] {
  const { shape, values, usePx } = clean;
  const largestPx = Math.min(shape.widthPx, shape.heightPx) / 3;
  const found: Shadow[] = [];
  const least = leastDepth(clean, options);
  const look = (candidates: readonly DustCandidate[], slack: Slack) => {
    const tried: DustCandidate[] = [];
    for (const candidate of candidates) {
      if (tried.length >= candidatesMost) break;
      if (tried.some((other) => isSame(other, candidate))) continue;
      const sign = Math.sign(candidate.contrast);
      const step = sign * stepOverRim(clean, candidate);
      if (step < Math.max(rimShare * sign * candidate.contrast, least / 4)) continue;
      tried.push(candidate);
      const shadow = shadowNear(
        clean,
        candidate,
        slack === "little" ? ["disc", "ring"] : kindsFor(sign),
        slack,
        least,
      );
      if (!shadow || sign * shadow.fit.depth < least || !isPlausible(shadow.fit, shape)) continue;
      if ([...known, ...found].some((other) => isSame(placeOf(other), placeOf(shadow)))) continue;
      const sigma = sign > 0 ? scatterAround(clean, shadow.fit, darkShare.first) : shadow.fit.depthSigma;
      if (
        sigma === undefined ||
        sign * shadow.fit.depth < snrMin[slack === "little" ? "first" : "last"] * sigma
      )
        continue;
      fill(clean, shadow, 1);
      found.push(shadow);
    }
  };
  look(rimCandidates(values, usePx, shape, largestPx), "little");
  if (blobs) look(dustCandidates(values, usePx, shape, largestPx), "much");
  return found;
}

/** A shadow much shallower than a pixel's own noise can't be told from the background's waves. */
function leastDepth({ values, usePx, shape }: Residual, options: DustOptions): number {
  const noise = neighbourNoise(values, usePx, shape.widthPx) ?? 0;
  return Math.max(options.leastDepth ?? 0.002, 2 * noise);
}

/** As a report says it; nothing for bright bumps and for what the last look no longer bears out. */
function told(
  clean: Residual,
  shadow: Shadow,
  shadows: readonly Shadow[],
  options: DustOptions,
): DustFound[] {
  const { fit } = shadow;
  if (fit.depth <= 0 || !isMostlySeen(fit, clean.shape)) return [];
  if (shadows.some((other) => isRemnant(other.fit, fit))) return [];
  const least = leastDepth(clean, options) * (isCut(fit, clean.shape) ? 1.5 : 1);
  fill(clean, shadow, -1);
  const depthSigma = scatterAround(clean, fit, darkShare.last);
  fill(clean, shadow, 1);
  const depth = 1 - Math.exp(-fit.depth);
  if (depthSigma === undefined || depth < least || depth < snrMin.last * depthSigma) return [];
  const diameterPx = 2 * fit.radiusPx;
  return [
    {
      xPx: fit.xPx,
      yPx: fit.yPx,
      diameterPx,
      depth,
      depthSigma,
      snr: depth / depthSigma,
      ring: fit.kind === "ring",
      ...distanceOf(diameterPx, options),
    },
  ];
}

/** A speck in or at a much larger and deeper shadow is what that one's fit has left. */
function isRemnant(of: ShadowFit, { xPx, yPx, radiusPx, depth }: ShadowFit): boolean {
  const apart = Math.hypot(xPx - of.xPx, yPx - of.yPx);
  return apart < 1.3 * of.radiusPx && radiusPx < 0.25 * of.radiusPx && depth < 0.6 * of.depth;
}

/** Source: geometry; the beam to one pixel narrows to it by one part in the focal ratio. */
export function dustDistanceMm(diameterPx: number, pixelMicron: number, focalRatio: number): number {
  return (diameterPx * pixelMicron * focalRatio) / 1000;
}

function distanceOf(diameterPx: number, options: DustOptions): { distanceMm?: number } {
  if (options.focalRatio === undefined || options.pixelMicron === undefined) return {};
  return { distanceMm: dustDistanceMm(diameterPx, options.pixelMicron, options.focalRatio) };
}
