import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { findPeaks, halveResolution, type Level, sampleOf } from "./dust-level.ts";

export interface DustCandidate {
  readonly xPx: number;
  readonly yPx: number;
  readonly diameterPx: number;
  /** Mean of the surroundings less mean of the middle, in ln F: positive for a shadow, negative for a bright bump. */
  readonly contrast: number;
  /** The same in robust sigma of its map. */
  readonly significance: number;
}

/** Smallest disc looked for, and the ladder's step. */
const leastDiameterPx = 7;
const ladder = Math.SQRT2;
const significanceMin = 6;
/** Of the Gaussian that answers best to a disc of diameter 1. */
const sigmaOfDisc = 1 / 3;
const surroundings = 1.6;

/**
 * Blobs over a ladder of sizes: difference of two Gaussians, first those that explain most
 * (contrast times diameter; by significance alone the walls of a ring would come before the ring).
 * Larger blobs are looked for in binned pictures: the cost stays that of a few sizes.
 * Source: T. Lindeberg, International Journal of Computer Vision 30 (1998) 79.
 */
export function dustCandidates(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  largestPx: number,
): DustCandidate[] {
  let level: Level = { shape, values: residual, use: usePx, binPx: 1 };
  const found: DustCandidate[] = [];
  for (let diameterPx = leastDiameterPx * level.binPx; diameterPx <= largestPx; diameterPx *= ladder) {
    while (diameterPx / level.binPx > 2 * leastDiameterPx) level = halveResolution(level);
    found.push(...peaks(sizeMap(level, diameterPx)));
  }
  return found.sort((a, b) => worth(b) - worth(a));
}

const worth = ({ contrast, diameterPx }: DustCandidate) => Math.abs(contrast) * diameterPx;

interface SizeMap {
  readonly level: Level;
  readonly diameterPx: number;
  readonly contrast: Float32Array;
  readonly sigma: number;
}

function sizeMap(level: Level, diameterPx: number): SizeMap {
  const { values, shape, use, binPx } = level;
  const sigmaCells = (sigmaOfDisc * diameterPx) / binPx;
  const middle = gaussianBlur(values, shape, sigmaCells, use);
  const contrast = gaussianBlur(values, shape, surroundings * sigmaCells, use);
  for (let i = 0; i < contrast.length; i++) contrast[i]! -= middle[i]!;
  return { level, diameterPx, contrast, sigma: medianAndSigma(sampleOf(contrast, 50_000))?.sigma ?? 0 };
}

/** Dark blobs, and bright ones by the same map upside down. */
function peaks({ level, diameterPx, contrast, sigma }: SizeMap): DustCandidate[] {
  const least = significanceMin * sigma;
  const dark = findPeaks(contrast, level.shape, least);
  for (let i = 0; i < contrast.length; i++) contrast[i] = -contrast[i]!;
  const bright = findPeaks(contrast, level.shape, least).map((peak) => ({ ...peak, value: -peak.value }));
  return [...dark, ...bright].map(({ x, y, value }) => ({
    xPx: (x + 0.5) * level.binPx - 0.5,
    yPx: (y + 0.5) * level.binPx - 0.5,
    diameterPx,
    contrast: value,
    significance: Math.abs(value) / sigma,
  }));
}
