import { noiseByLevel, tabulateVariance, varianceAtLevel } from "../noise/noise-by-level.ts";
import type { GrowthPoint } from "../noise/noise-growth.ts";
import type { HalvesFigures } from "../noise/series-halves.ts";
import { mapInto } from "../numerics/map-into.ts";
import { clippedNormal } from "../numerics/normal.ts";
import type { Shape } from "../numerics/shape.ts";
import { type FrameSelection, healthyPx, type SeriesOptions } from "./frame-selection.ts";
import { type LiveSums, rejectSigma } from "./live-sums.ts";
import { masterMask } from "./master-mask.ts";
import { unsteadyVariance } from "./unsteady-pixels.ts";

export interface Master {
  readonly shape: Shape;
  /** Mean of the frames, dark taken off, at the first frame's level [adu]. */
  readonly meanAdu: Float32Array;
  /** One sigma of that mean [adu]. */
  readonly sigmaAdu: Float32Array;
  /** One sigma of a single frame [adu]. */
  readonly frameSigmaAdu: Float32Array;
  /** See `maskBits`. */
  readonly mask: Uint8Array;
  readonly frameCount: number;
  readonly refusedFrames: number;
  readonly scales: readonly number[];
  /** Share of all samples that were rejected as outliers. */
  readonly rejectedFraction: number;
  /** Share of healthy pixels that were clipped in more than one frame in fifty. */
  readonly clippedFraction: number;
  readonly growth: readonly GrowthPoint[];
  readonly halves: HalvesFigures | undefined;
}

/** What a series has summed of each pixel. */
export type PixelSums = Pick<LiveSums, "reference" | "sum" | "squares" | "rejected" | "clipped">;

/** Pixels that tell the noise of their level in the end. */
const noisePx = 60_000;
/** How many frames' worth of trust the noise of a pixel's peers has, beside the pixel's own scatter. */
const peerWeight = 20;

/**
 * The master of a series, whatever way its pixels were summed.
 * @param into what becomes of the sums: `sums` puts the means into their arrays and uses them up
 */
export function finishMaster(
  sums: PixelSums,
  selection: FrameSelection,
  options: SeriesOptions,
  into: "new arrays" | "sums" = "new arrays",
): Master {
  const { shape, kind, unhealthyPx } = options;
  const { scales, refusedFrames, growth, halves } = selection;
  const frameCount = scales.length;
  const { unsteadyPx, ...means } = finishMeans(sums, frameCount, options, into === "sums");
  const { rejected, clipped } = sums;
  return {
    shape,
    ...means,
    ...masterMask(means.meanAdu, { kind, frameCount, rejected, clipped, unhealthyPx, unsteadyPx }),
    frameCount,
    refusedFrames,
    scales: [...scales],
    growth,
    halves,
  };
}

/**
 * Leaving out what lies beyond k sigma of a reference narrows what is kept, and draws its mean towards the reference, by
 * the same factor: that of the variance of the doubly truncated normal distribution.
 */
const keptVariance = clippedNormal(rejectSigma).sigmaAfter ** 2;

/** Mean, its sigma and that of one frame of each pixel, from its sums. */
function finishMeans(
  { reference, sum, squares, rejected, clipped }: PixelSums,
  frameCount: number,
  options: SeriesOptions,
  inPlace: boolean,
): Pick<Master, "meanAdu" | "sigmaAdu" | "frameSigmaAdu"> & { readonly unsteadyPx: Uint8Array } {
  const pxCount = reference.length;
  const meanAdu = inPlace ? reference : new Float32Array(pxCount);
  const own = inPlace ? squares : new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++) {
    const n = frameCount - rejected[i]! - clipped[i]!;
    meanAdu[i] = n === 0 ? reference[i]! : reference[i]! + sum[i]! / (n * keptVariance);
    own[i] = n < 2 ? 0 : Math.max(0, (squares[i]! - sum[i]! ** 2 / n) / ((n - 1) * keptVariance));
  }
  const px = healthyPx(options, noisePx);
  const ofPeers = (values: Float32Array) => mapInto(new Float64Array(px.length), px, (i) => values[i]!);
  const table = tabulateVariance(noiseByLevel(ofPeers(meanAdu), ofPeers(own), frameCount - 1));
  const unsteadyPx = new Uint8Array(pxCount);
  const sigmaAdu = inPlace ? sum : new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++) {
    const n = frameCount - rejected[i]! - clipped[i]!;
    const peers = varianceAtLevel(table, meanAdu[i]!);
    const freedom = Math.max(0, n - 1);
    const variance = (freedom * own[i]! + peerWeight * peers) / (freedom + peerWeight);
    const darkSigma = options.dark?.sigmaAdu[i] ?? 0;
    if (options.kind === "light" && own[i]! > unsteadyVariance(freedom) * peers && peers > 0)
      unsteadyPx[i] = 1;
    sigmaAdu[i] = Math.sqrt(variance / (Math.max(1, n) * keptVariance) + darkSigma * darkSigma);
    own[i] = Math.sqrt(n < 2 ? peers : own[i]!);
  }
  return { meanAdu, sigmaAdu, frameSigmaAdu: own, unsteadyPx };
}
