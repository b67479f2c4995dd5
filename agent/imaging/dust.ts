import { type DustCandidate, dustCandidates } from "./dust-candidates.ts";
import { fitShadow, type ShadowFit, shadowAt } from "./dust-fit.ts";
import { trusted } from "./flat-shape.ts";
import { logResidual } from "./log-residual.ts";
import type { Flat } from "./normalise-flat.ts";
import { medianAndSigma } from "./order-statistics.ts";
import { forEachWithin } from "./pixels-within.ts";
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
  /** Shallower shadows are not reported. Default 0.3 %: half of what shows in a processed image. */
  readonly leastDepth?: number;
}

/** Directions in which a shadow must be darker than its surroundings. */
const sectorCount = 8;
const snrMin = 7;
/** A shadow that has been taken out leaves less than this of a candidate that was part of it. */
const leftOver = 0.5;

/**
 * Dust shadows in a flat. Candidates are discs darker than the ring around them, over a ladder of sizes, strongest first.
 * Each is fitted as disc or ring with a soft rim, must be dark in all directions and no softer than a speck of its depth
 * can be, and is taken out before the next one is looked at: so overlapping shadows are told apart.
 */
export function findDust(flat: Flat, options: DustOptions = {}): DustFound[] {
  const { shape } = flat;
  const windowPx = Math.min(400, Math.max(81, Math.min(shape.widthPx, shape.heightPx) / 2));
  const residual = logResidual(flat, windowPx);
  const usePx = trusted(flat);
  const found: DustFound[] = [];
  const shallowest = options.leastDepth ?? 0.003;
  for (const candidate of passes(() => dustCandidates(residual, usePx, shape))) {
    if (candidate.contrast < shallowest / 2) continue;
    if (contrastAt(residual, usePx, shape, candidate) < leftOver * candidate.contrast) continue;
    const fit = bestFit(residual, usePx, shape, candidate);
    if (!fit || !isSharpEnough(fit) || !isMostlySeen(fit, shape)) continue;
    const depthSigma = scatterAround(residual, usePx, shape, fit);
    if (depthSigma === undefined) continue;
    const depth = 1 - Math.exp(-fit.depth);
    const leastDepth = shallowest * (isCut(fit, shape) ? 3 : 1);
    if (depth < leastDepth || depth < snrMin * depthSigma) continue;
    if (found.some((other) => isRemnant(other, fit, depth))) continue;
    takeOut(residual, shape, fit);
    const diameterPx = 2 * fit.radiusPx;
    found.push({
      xPx: fit.xPx,
      yPx: fit.yPx,
      diameterPx,
      depth,
      depthSigma,
      snr: depth / depthSigma,
      ring: fit.holeRatio > 0.1,
      ...distanceOf(diameterPx, options),
    });
  }
  return found.sort((a, b) => b.depth * b.diameterPx - a.depth * a.diameterPx);
}

/** Twice: what lay beside or below a deep shadow shows when that has been taken out. */
function* passes(candidates: () => DustCandidate[]): Generator<DustCandidate> {
  yield* candidates();
  yield* candidates();
}

/** Source: geometry; the beam to one pixel narrows to it by one part in the focal ratio. */
export function dustDistanceMm(diameterPx: number, pixelMicron: number, focalRatio: number): number {
  return (diameterPx * pixelMicron * focalRatio) / 1000;
}

function distanceOf(diameterPx: number, options: DustOptions): { distanceMm?: number } {
  if (options.focalRatio === undefined || options.pixelMicron === undefined) return {};
  return { distanceMm: dustDistanceMm(diameterPx, options.pixelMicron, options.focalRatio) };
}

/** A ring only if that explains the pixels much better than a disc. */
function bestFit(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  at: DustCandidate,
): ShadowFit | undefined {
  const disc = fitShadow(residual, usePx, shape, at, 0);
  const ring = fitShadow(residual, usePx, shape, at, 0.35);
  if (!disc || !ring) return disc ?? ring;
  const variance = ring.squares / Math.max(1, ring.pixels - 9);
  return disc.squares - ring.squares > 25 * variance && ring.holeRatio > 0.1 ? ring : disc;
}

/**
 * A speck of size s in a beam of width d takes (s/d)² of its light, and its shadow's rim is s wide: a deep shadow may be
 * soft, a shallow one may not. Valleys of the optics' own pattern are shallow and soft.
 */
function isSharpEnough({ depth, radiusPx, holeRatio, edgePx }: ShadowFit): boolean {
  const speckPx = 2 * radiusPx * Math.sqrt(Math.max(0, depth) * (1 - holeRatio ** 2));
  return edgePx <= 2.5 * speckPx + 2;
}

/** What lies mostly outside the frame is as likely the background's own edge. */
function isMostlySeen({ xPx, yPx, radiusPx }: ShadowFit, { widthPx, heightPx }: Shape): boolean {
  const margin = 0.15 * radiusPx;
  return xPx > -margin && yPx > -margin && xPx < widthPx - 1 + margin && yPx < heightPx - 1 + margin;
}

/** A speck within a deeper shadow, and faint beside it, is what the larger one's fit has left. */
function isRemnant(of: DustFound, { xPx, yPx, radiusPx }: ShadowFit, depth: number): boolean {
  const inside = Math.hypot(xPx - of.xPx, yPx - of.yPx) < 0.65 * of.diameterPx;
  return inside && radiusPx < 0.2 * of.diameterPx && depth < 0.3 * of.depth;
}

/** Of less than three quarters of a shadow the background is a guess. */
function isCut({ xPx, yPx, radiusPx }: ShadowFit, { widthPx, heightPx }: Shape): boolean {
  return Math.min(xPx, yPx, widthPx - 1 - xPx, heightPx - 1 - yPx) < radiusPx / 2;
}

/** One sigma of the depth as its eighths tell it; `undefined` when too many of them are not dark. */
function scatterAround(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  fit: ShadowFit,
): number | undefined {
  const inside = new Float64Array(sectorCount);
  const outside = new Float64Array(sectorCount);
  const weight = new Float64Array(sectorCount);
  const outsideCount = new Float64Array(sectorCount);
  const { radiusPx, edgePx } = fit;
  const gap = radiusPx + edgePx / 2 + 0.5;
  forEachWithin(shape, fit.xPx, fit.yPx, Math.max(gap + 3, 1.7 * radiusPx), (i, dx, dy, r) => {
    if (usePx[i] !== 1) return;
    const sector = Math.floor((Math.atan2(dy, dx) / (2 * Math.PI) + 1) * sectorCount) % sectorCount;
    const shade = shadowAt(r, fit);
    if (shade > 0.5) {
      inside[sector]! += residual[i]!;
      weight[sector]! += shade;
    } else if (r > gap) {
      outside[sector]! += residual[i]!;
      outsideCount[sector]!++;
    }
  });
  const depths: number[] = [];
  let outsideSum = 0;
  let outsideAll = 0;
  for (let s = 0; s < sectorCount; s++) {
    outsideSum += outside[s]!;
    outsideAll += outsideCount[s]!;
  }
  for (let s = 0; s < sectorCount; s++) {
    if (weight[s]! < 2) continue;
    const level =
      outsideCount[s]! > 2 ? outside[s]! / outsideCount[s]! : outsideSum / Math.max(1, outsideAll);
    depths.push(level - inside[s]! / weight[s]!);
  }
  const dark = depths.filter((depth) => depth > 0.3 * fit.depth).length;
  if (depths.length < 3 || dark < depths.length - (depths.length > 5 ? 1 : 0)) return undefined;
  return Math.hypot(medianAndSigma(depths)!.sigma / Math.sqrt(depths.length), fit.depthSigma);
}

function takeOut(residual: Float32Array, shape: Shape, fit: ShadowFit): void {
  forEachWithin(shape, fit.xPx, fit.yPx, fit.radiusPx + fit.edgePx, (i, _dx, _dy, r) => {
    residual[i]! += fit.depth * shadowAt(r, fit);
  });
}

/** Mean of the ring from 1.4 to 2 radii less mean of the disc, as the candidate was found by. */
function contrastAt(residual: Float32Array, usePx: Uint8Array, shape: Shape, at: DustCandidate): number {
  const radius = at.diameterPx / 2;
  let [disc, discCount, ring, ringCount] = [0, 0, 0, 0];
  forEachWithin(shape, at.xPx, at.yPx, 2 * radius, (i, _dx, _dy, r) => {
    if (usePx[i] !== 1) return;
    if (r <= radius) {
      disc += residual[i]!;
      discCount++;
    } else if (r > 1.4 * radius) {
      ring += residual[i]!;
      ringCount++;
    }
  });
  return discCount === 0 || ringCount === 0 ? 0 : ring / ringCount - disc / discCount;
}
