import { litThreshold } from "./frame-scale.ts";
import { maskBits } from "./mask-bits.ts";

export interface SeriesCounts {
  readonly kind: "light" | "dark";
  readonly frameCount: number;
  /** How many samples of each pixel were left out as outliers, and how many were clipped. */
  readonly rejected: Uint16Array;
  readonly clipped: Uint16Array;
  readonly unhealthyPx: Uint8Array | undefined;
}

/** What is not to be trusted of a series' mean, and how much was rejected. */
export function masterMask(
  meanAdu: Float32Array,
  series: SeriesCounts,
): { mask: Uint8Array; rejectedFraction: number; clippedFraction: number } {
  const mask = new Uint8Array(meanAdu.length);
  const frames = series.frameCount;
  const clippedMost = Math.max(1, frames / 50);
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
    if (outliers > frames / 2) mask[i]! |= maskBits.rejected;
  }
  return {
    mask,
    rejectedFraction: rejected / (frames * meanAdu.length),
    clippedFraction: healthyPx === 0 ? 0 : clippedPx / healthyPx,
  };
}
