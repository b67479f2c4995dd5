import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { smoothBackground } from "./dust-background.ts";
import { refitCluster } from "./dust-cluster-refit.ts";
import type { ShadowFit } from "./dust-fit.ts";
import { darkShare, isCutByEdge, isMostlySeen, scatterAround, snrMin } from "./dust-judge.ts";
import { halveResolution, type Level } from "./dust-level.ts";
import { measureShadows } from "./dust-measure.ts";
import { dropDuplicates, dropPieces, mergeConcentric, refitShadows } from "./dust-refit.ts";
import { addShadow, type Residual, type Shadow } from "./dust-shadow.ts";
import { detectMissedShadows, detectShadows, leastDepth } from "./dust-sightings.ts";
import { isRing } from "./shadow-profile.ts";

export interface DustFound {
  /** Of the centre; outside the frame when its edge cuts the shadow. */
  readonly xPx: number;
  readonly yPx: number;
  /** Between the points of half depth. */
  readonly diameterPx: number;
  /** One sigma of it: from the scatter about the shadows as fitted, with what is unknown of the others and of rims' form. */
  readonly diameterSigmaPx: number;
  /** Light lost in the shadow, a share of the level. */
  readonly depth: number;
  /** One sigma of it, likewise. */
  readonly depthSigma: number;
  /** Depth over the sigma of it that scatter alone makes: whether there is a shadow at all. */
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

/** A picture of more is looked at in squares of pixels: what is smaller than those tell would not be looked for anyway. */
const cellsMost = 6_000_000;
const borneOutSigmas = 4;
/** One sigma of a diameter and of a depth, their shares, that a rim of another form than those fitted makes; as the campaign's shadows have it. */
const rimFormShare = { diameter: 0.005, depth: 0.01 } as const;

/** Spacing of the background's knots in each pass, a share of the frame's longer side: finer as shadows are known. */
const knotShares = [0.2, 0.14, 0.12];

/**
 * Dust shadows in a flat. Blobs darker than their surroundings are fitted as disc, ring or bell, must be dark in all
 * directions, and are taken out together with what the fit leaves round about, so that a large one is not found again in
 * its own remains. Then all are fitted anew with the others out of the way: so overlapping ones are told apart. Bright
 * bumps are taken out in the same way and not reported. Clusters are explained anew as wholes, and all shadows measured together.
 */
export function findDust(flat: Flat, options: DustOptions = {}): DustFound[] {
  const all = findTrustedPx(flat);
  let level: Level = { shape: flat.shape, values: logsOf(flat, all), use: all, binPx: 1 };
  while (level.values.length > cellsMost) level = halveResolution(level);
  const { shape, use: usePx, values } = level;
  const clean: Residual = { shape, usePx, values };
  const longerPx = Math.max(shape.widthPx, shape.heightPx);
  let shadows: Shadow[] = [];
  for (const [pass, share] of knotShares.entries()) {
    const background = smoothBackground(clean.values, usePx, shape, share * longerPx);
    subtract(clean.values, background, usePx);
    shadows = pass === 0 ? detectShadows(clean, options.leastDepth) : dropDuplicates(clean, shadows);
    shadows = [...shadows, ...detectMissedShadows(clean, shadows, options.leastDepth, pass > 0)];
    shadows = dropDuplicates(
      clean,
      mergeConcentric(clean, refitShadows(clean, dropPieces(clean, shadows), true)),
    );
    if (pass === knotShares.length - 1) shadows = refitCluster(clean, shadows, share * longerPx);
    subtract(
      clean.values,
      background.map((value) => -value),
      usePx,
    );
  }
  const background = smoothBackground(clean.values, usePx, shape, knotShares.at(-1)! * longerPx);
  subtract(clean.values, background, usePx);
  const least = leastDepth(clean, options.leastDepth);
  const areSeen = shadows.map((shadow) => isSeen(clean, shadow, shadows, least));
  return measureShadows(clean, shadows, knotShares.at(-1)! * longerPx)
    .filter((fit, k) => areSeen[k] && isBorneOut(fit))
    .map((fit) => told(inPixels(fit, level.binPx), options))
    .sort((a, b) => b.depth * b.diameterPx - a.depth * a.diameterPx);
}

function logsOf(flat: Flat, usePx: Uint8Array): Float32Array {
  return flat.gain.map((gain, i) => (usePx[i] === 1 ? Math.log(gain) : 0));
}

function subtract(values: Float32Array, others: Float32Array, usePx: Uint8Array): void {
  for (let i = 0; i < values.length; i++) if (usePx[i] === 1) values[i]! -= others[i]!;
}

/** Bright bumps are not, nor what the last look no longer bears out. */
function isSeen(clean: Residual, shadow: Shadow, shadows: readonly Shadow[], least: number): boolean {
  const { fit } = shadow;
  if (fit.depth <= 0 || !isMostlySeen(fit, clean.shape)) return false;
  if (shadows.some((other) => isRemnant(other.fit, fit))) return false;
  addShadow(clean, shadow, -1);
  const depthSigma = scatterAround(clean, fit, darkShare.last);
  addShadow(clean, shadow, 1);
  const depth = 1 - Math.exp(-fit.depth);
  return (
    depthSigma !== undefined &&
    depth >= least * (isCutByEdge(fit, clean.shape) ? 1.5 : 1) &&
    depth >= snrMin.last * depthSigma
  );
}

/**
 * Pieces of a shadow that the search took for less than it is are nothing any more when all are measured together. How deep a ring
 * is, is known badly even where there is no doubt of it.
 */
function isBorneOut({ kind, depth, depthSigma }: ShadowFit): boolean {
  return depth > 0 && (isRing(kind) || depth > borneOutSigmas * depthSigma);
}

/** From cells of so many pixels squared, whose coordinates count from the first one's middle. */
function inPixels(fit: ShadowFit, binPx: number): ShadowFit {
  return {
    ...fit,
    xPx: (fit.xPx + 0.5) * binPx - 0.5,
    yPx: (fit.yPx + 0.5) * binPx - 0.5,
    radiusPx: fit.radiusPx * binPx,
    radiusSigma: fit.radiusSigma * binPx,
  };
}

/** As a report says it. */
function told(fit: ShadowFit, options: DustOptions): DustFound {
  const diameterPx = 2 * fit.radiusPx;
  const depth = 1 - Math.exp(-fit.depth);
  const noiseSigma = (1 - depth) * fit.depthSigma;
  return {
    xPx: fit.xPx,
    yPx: fit.yPx,
    diameterPx,
    diameterSigmaPx: Math.hypot(2 * fit.radiusSigma, rimFormShare.diameter * diameterPx),
    depth,
    depthSigma: Math.hypot(noiseSigma, rimFormShare.depth * depth),
    snr: depth / noiseSigma,
    ring: isRing(fit.kind),
    ...distanceOf(diameterPx, options),
  };
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
