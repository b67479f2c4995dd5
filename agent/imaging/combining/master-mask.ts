import { litThreshold } from "./frame-scale.ts";
import { maskBits } from "./mask-bits.ts";
import { unsteadyRejections } from "./unsteady-pixels.ts";

export interface SeriesCounts {
  readonly kind: "light" | "dark";
  readonly frameCount: number;
  /** How many samples of each pixel were left out as outliers, and how many were clipped. */
  readonly rejected: Uint16Array;
  readonly clipped: Uint16Array;
  readonly unhealthyPx: Uint8Array | undefined;
  /** 1 where a pixel is noisier than its peers beyond chance. */
  readonly unsteadyPx: Uint8Array;
}

/** A pixel that is clipped in more frames than these is not to be trusted; one may be a hit. */
export function clippedFramesMost(frameCount: number): number {
  return Math.max(1, Math.floor(frameCount / 50));
}

/** What is not to be trusted of a series' mean, and how much was rejected. */
export function masterMask(
  meanAdu: Float32Array,
  series: SeriesCounts,
): { mask: Uint8Array; rejectedFraction: number; clippedFraction: number } {
  const mask = new Uint8Array(meanAdu.length);
  const frames = series.frameCount;
  const clippedMost = clippedFramesMost(frames);
  const jumpy = unsteadyRejections(frames);
  const light = series.kind === "light";
  const litFromAdu = light ? litThreshold(meanAdu.length, (px) => meanAdu[px]!) : Number.NEGATIVE_INFINITY;
  let rejected = 0;
  let clippedPx = 0;
  let healthyPx = 0;
  for (let i = 0; i < meanAdu.length; i++) {
    const clipped = series.clipped[i]!;
    const outliers = series.rejected[i]!;
    rejected += outliers;
    if (series.unhealthyPx?.[i] === 1) mask[i]! |= maskBits.unhealthy;
    else {
      healthyPx++;
      if (clipped > clippedMost) clippedPx++;
    }
    if (clipped > clippedMost) mask[i]! |= maskBits.clipped;
    if (meanAdu[i]! <= litFromAdu) mask[i]! |= maskBits.unlit;
    if (series.unsteadyPx[i] === 1 || outliers >= jumpy) mask[i]! |= maskBits.unhealthy;
    if (outliers > frames / 2) mask[i]! |= maskBits.rejected;
  }
  return {
    mask,
    rejectedFraction: rejected / (frames * meanAdu.length),
    clippedFraction: healthyPx === 0 ? 0 : clippedPx / healthyPx,
  };
}
