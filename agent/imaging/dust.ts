import { trusted } from "./flat-shape.ts";
import { logResidual } from "./log-residual.ts";
import type { Flat } from "./normalise-flat.ts";
import { medianAndSigma } from "./order-statistics.ts";
import { dustCandidates } from "./dust-candidates.ts";

export interface DustFound {
  readonly xPx: number;
  readonly yPx: number;
  /** Between the points of half depth. */
  readonly diameterPx: number;
  /** Light lost in the shadow, a share of the level. */
  readonly depth: number;
  /** One sigma of the depth, from its scatter around the ring. */
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

/**
 * Dust shadows in a flat. Candidates are discs darker than the ring around them, over a ladder of sizes; each is then
 * measured by its own radial profile against a parabola through its surroundings, must be dark in all directions, and is
 * taken out before the next is measured, so that overlapping shadows are told apart.
 */
export function findDust(flat: Flat, options: DustOptions = {}): DustFound[] {
  const { widthPx, heightPx } = flat.shape;
  const windowPx = Math.min(400, Math.max(81, Math.min(widthPx, heightPx) / 2));
  const residual = logResidual(flat, windowPx);
  const usePx = trusted(flat);
  const pixelSigma = spreadOf(residual, usePx);
  const leastDepth = options.leastDepth ?? 0.003;
  const found: DustFound[] = [];
  for (const candidate of dustCandidates(residual, usePx, flat.shape)) {
    const shadow = measure(residual, usePx, flat, candidate, pixelSigma);
    if (!shadow || shadow.depth < leastDepth || shadow.snr < 6) continue;
    takeOut(residual, flat, shadow);
    const { profile: _profile, ...rest } = shadow;
    found.push({ ...rest, ...distanceOf(shadow.diameterPx, options) });
  }
  return found.sort((a, b) => b.depth * b.diameterPx - a.depth * a.diameterPx);
}

/** Source: geometry; the beam to one pixel narrows to it by one part in the focal ratio. */
export function dustDistanceMm(diameterPx: number, pixelMicron: number, focalRatio: number): number {
  return (diameterPx * pixelMicron * focalRatio) / 1000;
}

function distanceOf(diameterPx: number, options: DustOptions): { distanceMm?: number } {
  if (options.focalRatio === undefined || options.pixelMicron === undefined) return {};
  return { distanceMm: dustDistanceMm(diameterPx, options.pixelMicron, options.focalRatio) };
}

interface Candidate {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
}

type Measured = DustFound & { readonly profile: Float64Array };

function measure(
  residual: Float32Array,
  usePx: Uint8Array,
  flat: Flat,
  candidate: Candidate,
  pixelSigma: number,
): Measured | undefined {
  let place: Candidate | undefined = candidate;
  for (let round = 0; round < 4; round++) {
    const better: Candidate | undefined = recentre(residual, usePx, flat, place);
    if (!better) return undefined;
    place = better;
  }
  const rings = ringsAbout(residual, usePx, flat, place);
  if (!rings) return undefined;
  const { below, radiusPx } = rings;
  const coreEnd = Math.max(1, Math.floor(radiusPx * 0.75));
  const depthLog = meanOf(below, 0, coreEnd);
  const middle = meanOf(below, 0, Math.max(1, Math.floor(radiusPx * 0.3)));
  const wall = Math.max(...Array.from(below.subarray(Math.floor(radiusPx * 0.4), Math.max(2, Math.ceil(radiusPx)))));
  const ring = radiusPx > 5 && wall > 0 && middle < 0.7 * wall;
  const depthInLog = ring ? wall : depthLog;
  const sectors = sectorDepths(residual, usePx, flat, place, radiusPx);
  const dark = sectors.filter((depth) => depth > 0.25 * depthInLog).length;
  if (sectors.length < 4 || dark < sectors.length - (sectors.length > 5 ? 1 : 0)) return undefined;
  const spread = medianAndSigma(sectors)!;
  const photon = pixelSigma / Math.sqrt(Math.PI * radiusPx * radiusPx);
  const depthSigma = Math.hypot(spread.sigma / Math.sqrt(sectors.length), photon);
  const depth = 1 - Math.exp(-depthInLog);
  return {
    xPx: place.xPx,
    yPx: place.yPx,
    diameterPx: 2 * radiusPx,
    depth,
    depthSigma,
    snr: depth / depthSigma,
    ring,
    profile: below,
  };
}

/** Centroid of what is darker than half of the depth, within reach of the shadow; and its new radius. */
function recentre(residual: Float32Array, usePx: Uint8Array, flat: Flat, from: Candidate): Candidate | undefined {
  const rings = ringsAbout(residual, usePx, flat, from);
  if (!rings) return undefined;
  const { below, radiusPx, baseline } = rings;
  const reach = Math.max(2.5, 1.15 * radiusPx);
  const deepest = Math.max(...Array.from(below.subarray(0, Math.max(1, Math.ceil(radiusPx)))));
  let [weight, sumX, sumY] = [0, 0, 0];
  forEachWithin(flat, from.xPx, from.yPx, reach, (i, dx, dy, r) => {
    if (usePx[i] !== 1) return;
    const value = Math.min(1.5 * deepest, baseline(r) - residual[i]!);
    if (value < 0.3 * deepest) return;
    weight += value;
    sumX += value * dx;
    sumY += value * dy;
  });
  if (!(weight > 0)) return undefined;
  const xPx = from.xPx + sumX / weight;
  const yPx = from.yPx + sumY / weight;
  if (Math.hypot(xPx - from.xPx, yPx - from.yPx) > Math.max(4, from.diameterPx)) return undefined;
  return { xPx, yPx, diameterPx: 2 * radiusPx };
}

/** Mean residual in rings one pixel wide, below a parabola through the rings outside the shadow. */
function ringsAbout(residual: Float32Array, usePx: Uint8Array, flat: Flat, at: Candidate) {
  const outer = at.diameterPx / 2;
  const reach = Math.ceil(Math.max(outer * 2.2, outer + 6));
  const sums = new Float64Array(reach);
  const counts = new Float64Array(reach);
  forEachWithin(flat, at.xPx, at.yPx, reach - 0.01, (i, _dx, _dy, r) => {
    if (usePx[i] !== 1) return;
    sums[Math.floor(r)]! += residual[i]!;
    counts[Math.floor(r)]!++;
  });
  const baseline = parabola(sums, counts, Math.floor(Math.max(outer * 1.35, outer + 2)), reach);
  if (!baseline) return undefined;
  const below = new Float64Array(reach);
  for (let k = 0; k < reach; k++) below[k] = counts[k]! > 0 ? baseline(k + 0.5) - sums[k]! / counts[k]! : 0;
  const deepest = Math.max(...Array.from(below.subarray(0, Math.max(2, Math.ceil(outer * 1.2)))));
  if (!(deepest > 0)) return undefined;
  let k = Math.min(reach - 1, Math.ceil(outer * 1.4));
  while (k > 0 && below[k]! < deepest / 2) k--;
  const [inside, outside] = [below[k]!, below[Math.min(reach - 1, k + 1)]!];
  const part = inside > outside ? Math.min(1, Math.max(0, (inside - deepest / 2) / (inside - outside))) : 0;
  return { below, baseline, radiusPx: Math.max(1.5, k + 0.5 + part) };
}

/** Least squares of a + b r² over rings `from` to `to`, weighted by their pixels. */
function parabola(sums: Float64Array, counts: Float64Array, from: number, to: number): ((r: number) => number) | undefined {
  let [w, wx, wxx, wy, wxy] = [0, 0, 0, 0, 0];
  for (let k = from; k < to; k++) {
    const x = (k + 0.5) ** 2;
    w += counts[k]!;
    wx += counts[k]! * x;
    wxx += counts[k]! * x * x;
    wy += sums[k]!;
    wxy += sums[k]! * x;
  }
  const determinant = w * wxx - wx * wx;
  if (!(w > 12) || !(determinant > 1e-9 * w * wxx)) return undefined;
  const b = (w * wxy - wx * wy) / determinant;
  const a = (wy - b * wx) / w;
  return (r) => a + b * r * r;
}

/** How much darker each eighth of the shadow is than the same eighth of its surroundings. */
function sectorDepths(residual: Float32Array, usePx: Uint8Array, flat: Flat, at: Candidate, radiusPx: number): number[] {
  const inside = new Float64Array(sectorCount);
  const outside = new Float64Array(sectorCount);
  const insideCount = new Float64Array(sectorCount);
  const outsideCount = new Float64Array(sectorCount);
  const gap = Math.max(radiusPx * 1.3, radiusPx + 1.5);
  forEachWithin(flat, at.xPx, at.yPx, Math.max(radiusPx * 1.8, radiusPx + 4), (i, dx, dy, r) => {
    if (usePx[i] !== 1) return;
    const turn = (Math.atan2(dy, dx) / (2 * Math.PI) + 1) * sectorCount;
    const sector = Math.floor(turn) % sectorCount;
    if (r <= radiusPx * 0.9) {
      inside[sector]! += residual[i]!;
      insideCount[sector]!++;
    } else if (r >= gap) {
      outside[sector]! += residual[i]!;
      outsideCount[sector]!++;
    }
  });
  const depths: number[] = [];
  for (let s = 0; s < sectorCount; s++)
    if (insideCount[s]! > 0 && outsideCount[s]! > 1)
      depths.push(outside[s]! / outsideCount[s]! - inside[s]! / insideCount[s]!);
  return depths;
}

/** Fills the shadow up by its own profile. */
function takeOut(residual: Float32Array, flat: Flat, shadow: Measured): void {
  const last = shadow.profile.length - 1;
  const end = Math.min(last, shadow.diameterPx * 0.75 + 1);
  forEachWithin(flat, shadow.xPx, shadow.yPx, end, (i, _dx, _dy, r) => {
    const k = Math.max(0, r - 0.5);
    const low = Math.min(last, Math.floor(k));
    const part = k - low;
    const below = shadow.profile[low]! * (1 - part) + shadow.profile[Math.min(last, low + 1)]! * part;
    if (below > 0) residual[i]! += below;
  });
}

function forEachWithin(
  flat: Flat,
  xPx: number,
  yPx: number,
  reachPx: number,
  visit: (i: number, dx: number, dy: number, r: number) => void,
): void {
  const { widthPx, heightPx } = flat.shape;
  for (let y = Math.max(0, Math.ceil(yPx - reachPx)); y <= Math.min(heightPx - 1, Math.floor(yPx + reachPx)); y++)
    for (let x = Math.max(0, Math.ceil(xPx - reachPx)); x <= Math.min(widthPx - 1, Math.floor(xPx + reachPx)); x++) {
      const r = Math.hypot(x - xPx, y - yPx);
      if (r <= reachPx) visit(y * widthPx + x, x - xPx, y - yPx, r);
    }
}

function meanOf(values: Float64Array, from: number, to: number): number {
  let sum = 0;
  let weight = 0;
  for (let k = from; k < to; k++) {
    sum += values[k]! * (k + 0.5); // rings grow with their radius
    weight += k + 0.5;
  }
  return weight > 0 ? sum / weight : 0;
}

function spreadOf(residual: Float32Array, usePx: Uint8Array): number {
  const every = Math.max(1, Math.floor(residual.length / 100_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < residual.length; i += every) if (usePx[i] === 1) sample.push(residual[i]!);
  return medianAndSigma(sample)?.sigma ?? 0;
}
