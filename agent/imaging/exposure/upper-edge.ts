import { type CodeCounts, quantileAdu, totalCount } from "./histogram.ts";

export interface UpperEdge {
  /** Level that only the brightest 0.1 % of lit, healthy pixels exceed [adu, pedestal included]. */
  readonly edgeAdu: number;
  /** The same as a fraction of full scale, pedestal included: it is the distance to clipping that counts. */
  readonly edgeFraction: number;
  readonly medianLitAdu: number;
  readonly litFromAdu: number;
  readonly litPx: number;
}

/** A pixel is lit above this share of the median of the frame's brighter half, pedestal taken off. */
export const litShare = 0.2;

/**
 * The upper edge of a frame. The maximum would belong to hot pixels and noise, and the mean would miss a bright patch.
 * @param counts of the healthy pixels
 * @returns `undefined` when there is no pixel
 */
export function upperEdge(
  counts: CodeCounts,
  camera: { readonly pedestalAdu: number; readonly fullScaleAdu: number },
): UpperEdge | undefined {
  const topHalfMedian = quantileAdu(counts, 0.75);
  if (topHalfMedian === undefined) return undefined;
  const above = topHalfMedian - camera.pedestalAdu;
  const litFromAdu = above > 0 ? Math.ceil(camera.pedestalAdu + litShare * above) : 0;
  const edgeAdu = quantileAdu(counts, 0.999, litFromAdu)!;
  return {
    edgeAdu,
    edgeFraction: edgeAdu / camera.fullScaleAdu,
    medianLitAdu: quantileAdu(counts, 0.5, litFromAdu)!,
    litFromAdu,
    litPx: totalCount(counts, litFromAdu),
  };
}
