import { RunningMoments } from "../noise/running-moments.ts";
import { BlockMap } from "../numerics/block-map.ts";
import { medianAndSigma, quantile } from "../numerics/order-statistics.ts";
import { fitPlane } from "../numerics/plane-fit.ts";
import type { Shape } from "../numerics/shape.ts";
import { blockSpreads, darkMismatch } from "./dark-mismatch.ts";

export interface LeakInput {
  readonly shape: Shape;
  /** Means of frames at the flat's exposure: covered and pointing at the Sun, and covered away from it [adu]. */
  readonly coveredAdu: Float32Array;
  readonly darkAdu: Float32Array;
  /** Level of each of those frames [adu]. */
  readonly coveredLevelsAdu: readonly number[];
  readonly darkLevelsAdu: readonly number[];
  readonly unhealthyPx?: Uint8Array;
  /** Level of a covered frame too short for any dark current; the median dark while unknown [adu]. */
  readonly biasAdu?: number;
  /** Mean level of the flat above its dark, at this exposure [adu]. */
  readonly flatLevelAdu: number;
}

export interface LeakReport {
  /** Size of the leak as a share of the flat's level: 95th percentile of the smoothed map. Never negative. */
  readonly leakFraction: number;
  readonly leakSigmaFraction: number;
  /** Scatter of a whole block of the map by the pixels' noise alone [adu]. */
  readonly blockSigmaAdu: number;
  /** A leak smaller than this would not be told from noise and from the wandering pedestal. */
  readonly detectionLimitFraction: number;
  /** Whether there is a leak: beyond chance, and beyond a fifth of what does no harm. */
  readonly found: boolean;
  readonly meanLeakAdu: number;
  /** One sigma: what the pixels' noise leaves of it, and the wandering of the pedestal. */
  readonly meanLeakSigmaAdu: number;
  readonly blockZMax: number;
  readonly blockZLimit: number;
  readonly gradientZ: number;
  /** Towards the brighter side, from x (right) to y (down). */
  readonly gradientDegrees: number;
  readonly brightestPx: { readonly xPx: number; readonly yPx: number };
  readonly shapeOfIt: "even" | "one-sided" | "patch";
  /** Share by which dark current differed between the two sets, told by the warm pixels; already taken off. */
  readonly darkMismatch: number;
  readonly darkMismatchSigma: number;
  /** The leak in blocks [adu], row-major, for a picture. NaN where no pixel is healthy. */
  readonly mapAdu: Float32Array;
  readonly mapColumns: number;
  readonly mapRows: number;
  readonly verdict: "good" | "usable" | "bad";
  readonly whatToDo: string;
}

const goodAtMost = 0.001;
const usableAtMost = 0.005;
const negligible = goodAtMost / 5;

/**
 * Compares covered frames on the Sun with covered frames off it. What differs is light that came past the cover:
 * dark current, glow and fixed pattern are in both, and a difference in temperature shows in the warm pixels.
 */
export function judgeLeak(input: LeakInput): LeakReport {
  const { shape, flatLevelAdu } = input;
  const px = input.coveredAdu.length;
  const difference = new Float32Array(px);
  for (let i = 0; i < px; i++) difference[i] = input.coveredAdu[i]! - input.darkAdu[i]!;
  const noise = spreadOf(difference);
  const sidePx = Math.max(8, Math.min(64, Math.floor(Math.min(shape.widthPx, shape.heightPx) / 8)));
  const map = new BlockMap(shape, sidePx);
  const usual = blockSpreads(difference, map);
  const warm = darkMismatch(difference, usual, input.darkAdu, noise.sigma, map, input.biasAdu);
  const usePx = new Uint8Array(px);
  for (let i = 0; i < px; i++) {
    const b = map.blockOf(i); // outliers among their neighbours only: a bright patch is the leak itself
    const most = 6 * Math.max(noise.sigma, usual.sigmas[b]!);
    usePx[i] = Math.abs(difference[i]! - usual.medians[b]!) < most && input.unhealthyPx?.[i] !== 1 ? 1 : 0;
  }
  const { sums, counts } = map.sumPicture(difference, usePx);
  const mapAdu = new Float32Array(map.count).fill(Number.NaN);
  const blocks: { x: number; y: number; value: number; sigma: number }[] = [];
  for (let b = 0; b < map.count; b++) {
    const count = counts[b]!;
    if (count < (sidePx * sidePx) / 4) continue;
    const value = sums[b]! / count - warm.blockAdu[b]!;
    mapAdu[b] = value;
    const x = ((b % map.columns) + 0.5) * sidePx - shape.widthPx / 2;
    const y = (Math.floor(b / map.columns) + 0.5) * sidePx - shape.heightPx / 2;
    blocks.push({ x, y, value, sigma: noise.sigma / Math.sqrt(count) });
  }
  const values = blocks.map((block) => block.value);
  const blockSigma = blocks.reduce((sum, block) => sum + block.sigma, 0) / Math.max(1, blocks.length);
  const evenSigma = Math.hypot(
    levelSigma(input.coveredLevelsAdu),
    levelSigma(input.darkLevelsAdu),
    warm.evenSigmaAdu,
    noise.sigma / Math.sqrt(Math.max(1, px)),
  );
  const meanLeakAdu = values.reduce((a, b) => a + b, 0) / Math.max(1, values.length);
  const totalSigma = Math.hypot(blockSigma, evenSigma);
  const plane = fitPlane(blocks, blockSigma);
  const gradientZ = plane
    ? Math.hypot(plane.slopeX / plane.slopeXSigma, plane.slopeY / plane.slopeYSigma)
    : 0;
  const brightest = blocks.reduce((a, b) => (b.value > a.value ? b : a), blocks[0]!);
  const blockZMax = brightest ? brightest.value / totalSigma : 0;
  const blockZLimit = oneSidedLimit(1e-3 / Math.max(1, blocks.length));
  const leakFraction = Math.max(0, quantile(values, 0.95) ?? 0) / flatLevelAdu;
  const beyondChance = blockZMax > blockZLimit || meanLeakAdu / evenSigma > 4 || gradientZ > 4;
  const found = beyondChance && leakFraction > negligible;
  const shapeOfIt = shapeWord(plane, gradientZ, meanLeakAdu, brightest?.value ?? 0, shape, totalSigma);
  const verdict = leakFraction <= goodAtMost ? "good" : leakFraction <= usableAtMost ? "usable" : "bad";
  return {
    leakFraction,
    leakSigmaFraction: totalSigma / flatLevelAdu,
    blockSigmaAdu: blockSigma,
    detectionLimitFraction: Math.max(blockZLimit * totalSigma, 4 * evenSigma) / flatLevelAdu,
    found,
    meanLeakAdu,
    meanLeakSigmaAdu: evenSigma,
    blockZMax,
    blockZLimit,
    gradientZ,
    gradientDegrees: plane ? (Math.atan2(plane.slopeY, plane.slopeX) * 180) / Math.PI : 0,
    brightestPx: {
      xPx: Math.round((brightest?.x ?? 0) + shape.widthPx / 2),
      yPx: Math.round((brightest?.y ?? 0) + shape.heightPx / 2),
    },
    shapeOfIt,
    darkMismatch: warm.share,
    darkMismatchSigma: warm.shareSigma,
    mapAdu,
    mapColumns: map.columns,
    mapRows: map.rows,
    verdict,
    whatToDo: advice(found, leakFraction, shapeOfIt),
  };
}

/** Robust, from at most 200 000 pixels. */
function spreadOf(values: Float32Array): { median: number; sigma: number } {
  const stride = Math.max(1, Math.floor(values.length / 200_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < values.length; i += stride) sample.push(values[i]!);
  const spread = medianAndSigma(sample) ?? { median: 0, sigma: 0 };
  // Means of a few coarse codes can agree to the digit for most pixels: the plain deviation is then the honest one.
  if (spread.sigma > 0) return spread;
  return { median: spread.median, sigma: Math.max(1e-6, Math.sqrt(RunningMoments.of(sample).variance)) };
}

/** One sigma of the mean level of a set, from the scatter of its frames. */
function levelSigma(levelsAdu: readonly number[]): number {
  return Math.sqrt(RunningMoments.of(levelsAdu).sampleVariance / Math.max(1, levelsAdu.length));
}

/** z that a normal value exceeds with the given small chance. Source: Abramowitz & Stegun 26.2.23. */
function oneSidedLimit(chance: number): number {
  const t = Math.sqrt(-2 * Math.log(chance));
  return (
    t - (2.515517 + t * (0.802853 + t * 0.010328)) / (1 + t * (1.432788 + t * (0.189269 + t * 0.001308)))
  );
}

function shapeWord(
  plane: ReturnType<typeof fitPlane>,
  gradientZ: number,
  meanAdu: number,
  peakAdu: number,
  shape: Shape,
  sigmaAdu: number,
): LeakReport["shapeOfIt"] {
  if (!plane) return "even";
  const acrossAdu = Math.abs(plane.slopeX) * shape.widthPx + Math.abs(plane.slopeY) * shape.heightPx;
  const planePeakAdu = meanAdu + acrossAdu / 2;
  if (peakAdu > 1.3 * planePeakAdu + 4 * sigmaAdu) return "patch";
  return gradientZ > 4 && acrossAdu > 0.3 * Math.abs(meanAdu) ? "one-sided" : "even";
}

function advice(found: boolean, fraction: number, shapeOfIt: LeakReport["shapeOfIt"]): string {
  if (!found) return "Nothing: no light comes past the cover.";
  const where = {
    "one-sided": "Look for a gap on the bright side: drawtube, filter slot, camera adapter.",
    patch: "Look for a hole or a translucent spot: the cover itself, an open port, a status lamp.",
    even: "Look at the cover first: a sheet that lets light through brightens the whole frame.",
  }[shapeOfIt];
  if (fraction > 0.02) return `The cover did not close or is not opaque. ${where}`;
  return fraction <= goodAtMost ? `Harmless at this size. ${where}` : `${where} Then run the plan again.`;
}
