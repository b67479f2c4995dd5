import type { Flat } from "../combining/normalise-flat.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";

export interface RadialProfile {
  readonly centrePx: { readonly xPx: number; readonly yPx: number };
  readonly rings: readonly {
    readonly radiusPx: number;
    readonly median: number;
    /** Robust scatter within the ring. */
    readonly sigma: number;
    readonly pixels: number;
  }[];
}

const ringCount = 64;

/** Medians in 64 rings of equal width about the centroid of the light above the frame's 5th percentile. */
export function radialProfile(flat: Flat): RadialProfile {
  const { widthPx, heightPx } = flat.shape;
  const every = Math.max(1, Math.floor(flat.gain.length / 300_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < flat.gain.length; i += every) if (flat.mask[i] === 0) sample.push(i);
  const sorted = mapInto(new Float64Array(sample.length), sample, (i) => flat.gain[i]!).sort();
  const floor = sorted[Math.floor(sorted.length * 0.05)] ?? 0;
  let [weight, sumX, sumY] = [0, 0, 0];
  for (const i of sample) {
    const w = Math.max(0, flat.gain[i]! - floor);
    weight += w;
    sumX += w * (i % widthPx);
    sumY += w * Math.floor(i / widthPx);
  }
  const xPx = weight > 0 ? sumX / weight : (widthPx - 1) / 2;
  const yPx = weight > 0 ? sumY / weight : (heightPx - 1) / 2;
  const reach = Math.hypot(Math.max(xPx, widthPx - 1 - xPx), Math.max(yPx, heightPx - 1 - yPx));
  const rings: number[][] = Array.from({ length: ringCount }, () => []);
  for (const i of sample) {
    const r = Math.hypot((i % widthPx) - xPx, Math.floor(i / widthPx) - yPx);
    rings[Math.min(ringCount - 1, Math.floor((r / reach) * ringCount))]!.push(flat.gain[i]!);
  }
  return {
    centrePx: { xPx, yPx },
    rings: rings.flatMap((values, k) => {
      const spread = values.length >= 10 ? medianAndSigma(values) : undefined;
      return spread ? [{ radiusPx: ((k + 0.5) / ringCount) * reach, ...spread, pixels: values.length }] : [];
    }),
  };
}
