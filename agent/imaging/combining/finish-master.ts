import { lookUp, type NoiseByLevel, tabulate } from "../noise/noise-by-level.ts";
import type { LiveSums } from "./live-sums.ts";

/** How many frames' worth of trust the noise of a pixel's peers has, beside the pixel's own scatter. */
const peerWeight = 20;

export interface PixelMeans {
  readonly meanAdu: Float32Array;
  readonly sigmaAdu: Float32Array;
  readonly frameSigmaAdu: Float32Array;
}

/**
 * Mean, its sigma and that of one frame of each pixel, from its sums.
 * @param noiseOf what pixels of a level show, from levels and sample variances of all
 */
export function meansOf(
  sums: LiveSums,
  frameCount: number,
  darkSigmaAdu: Float32Array | undefined,
  noiseOf: (levelsAdu: Float32Array, variances: Float32Array) => NoiseByLevel,
): PixelMeans {
  const { reference, sum, squares, rejected, clipped } = sums;
  const pxCount = reference.length;
  const meanAdu = new Float32Array(pxCount);
  const own = new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++) {
    const n = frameCount - rejected[i]! - clipped[i]!;
    if (n === 0) {
      meanAdu[i] = reference[i]!;
      continue;
    }
    meanAdu[i] = reference[i]! + sum[i]! / n;
    own[i] = n < 2 ? 0 : Math.max(0, (squares[i]! - sum[i]! ** 2 / n) / (n - 1));
  }
  const table = tabulate(noiseOf(meanAdu, own));
  const sigmaAdu = new Float32Array(pxCount);
  for (let i = 0; i < pxCount; i++) {
    const n = frameCount - rejected[i]! - clipped[i]!;
    const peers = lookUp(table, meanAdu[i]!);
    const freedom = Math.max(0, n - 1);
    const variance = (freedom * own[i]! + peerWeight * peers) / (freedom + peerWeight);
    const darkSigma = darkSigmaAdu?.[i] ?? 0;
    sigmaAdu[i] = Math.sqrt(variance / Math.max(1, n) + darkSigma * darkSigma);
    own[i] = Math.sqrt(n < 2 ? peers : own[i]!);
  }
  return { meanAdu, sigmaAdu, frameSigmaAdu: own };
}
