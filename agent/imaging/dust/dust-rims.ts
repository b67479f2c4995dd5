import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { DustCandidate } from "./dust-candidates.ts";
import { findPeaks, halveResolution, type Level, sampleOf, slopesOf } from "./dust-level.ts";

const leastDiameterPx = 8;
const ladder = 2 ** 0.25;
/** A rim is looked at where the shadow is 12 to 24 cells wide. */
const cellsMost = 24;
const significanceMin = 6;
/** How far the votes of a soft rim scatter about the centre, in radii. */
const votesSpread = 0.13;

/**
 * Shadows by their rims: wherever the picture rises, the place one radius down the slope gets a vote, as much as the
 * slope is steep. Overlapping shadows have whole rims where blobs run together.
 * Source: G. Loy and A. Zelinsky, IEEE Trans. Pattern Analysis and Machine Intelligence 25 (2003) 959.
 */
export function rimCandidates(
  residual: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  largestPx: number,
): DustCandidate[] {
  let level: Level = { shape, values: residual, use: usePx, binPx: 1 };
  let rises = risesOf(level);
  const found: DustCandidate[] = [];
  for (let diameterPx = leastDiameterPx * level.binPx; diameterPx <= largestPx; diameterPx *= ladder) {
    while (diameterPx / level.binPx > cellsMost) {
      level = halveResolution(level);
      rises = risesOf(level);
    }
    found.push(...peaks(rises, level, diameterPx));
  }
  return found.sort((a, b) => b.contrast * b.diameterPx - a.contrast * a.diameterPx);
}

/** Where the picture rises most (a unit vector), and how much per cell. */
interface Rises {
  readonly x: Float32Array;
  readonly y: Float32Array;
  readonly steep: Float32Array;
}

/** Once for all diameters that are looked for at this level. */
function risesOf(level: Level): Rises {
  const { x, y } = slopesOf(level);
  const steep = new Float32Array(x.length);
  for (let i = 0; i < x.length; i++) {
    steep[i] = Math.sqrt(x[i]! * x[i]! + y[i]! * y[i]!);
    if (steep[i] === 0) continue;
    x[i]! /= steep[i]!;
    y[i]! /= steep[i]!;
  }
  return { x, y, steep };
}

function peaks(rises: Rises, { shape, binPx }: Level, diameterPx: number): DustCandidate[] {
  const radius = diameterPx / 2 / binPx;
  const sigmaCells = Math.max(0.8, votesSpread * radius);
  const map = gaussianBlur(votesOf(rises, shape, radius), shape, sigmaCells);
  const spread = medianAndSigma(sampleOf(map, 20_000));
  if (!spread) return [];
  return findPeaks(map, shape, spread.median + significanceMin * spread.sigma).map(({ x, y, value }) => ({
    xPx: (x + 0.5) * binPx - 0.5,
    yPx: (y + 0.5) * binPx - 0.5,
    diameterPx,
    // Of a full rim all votes come to its circumference times the depth.
    contrast: ((value - spread.median) * sigmaCells * sigmaCells) / radius,
    significance: (value - spread.median) / spread.sigma,
  }));
}

function votesOf(rises: Rises, { widthPx, heightPx }: Shape, radius: number): Float32Array {
  const votes = new Float32Array(widthPx * heightPx);
  for (let y = 1; y + 1 < heightPx; y++)
    for (let x = 1; x + 1 < widthPx; x++) {
      const i = y * widthPx + x;
      const steep = rises.steep[i]!;
      if (steep === 0) continue;
      // Counted from 1, so that cutting off rounds; Math.round is many times slower.
      const cx = (x - radius * rises.x[i]! + 1.5) | 0;
      const cy = (y - radius * rises.y[i]! + 1.5) | 0;
      if (cx >= 1 && cy >= 1 && cx <= widthPx && cy <= heightPx) votes[(cy - 1) * widthPx + cx - 1]! += steep;
    }
  return votes;
}
