import type { Shape } from "../../numerics/shape.ts";

/** Beyond this share of the disc's radius the model of limb darkening is no longer good to a few parts in a thousand. */
const usableRadii = 0.45;
/** Displacements smaller than this share of the frame's short side leave the large scales undetermined. */
const leastOfSide = 0.1;

/**
 * How far the disc's centre may wander from the middle of the frame [px]: frame corner plus wandering stay within 0.45
 * of the disc's radius. Larger displacements than asked for help nobody.
 * @param wantedOfSide of the frame's short side
 * @returns `undefined` when the disc is too small for the frame
 */
export function driftRadiusPx(shape: Shape, discRadiusPx: number, wantedOfSide: number): number | undefined {
  const { widthPx, heightPx } = shape;
  const shortPx = Math.min(widthPx, heightPx);
  const roomPx = usableRadii * discRadiusPx - Math.hypot(widthPx, heightPx) / 2;
  if (roomPx < leastOfSide * shortPx) return undefined;
  return Math.min(roomPx, wantedOfSide * shortPx);
}

/** Smallest disc radius that suits the frame, for the sentence that refuses a smaller one [px]. */
export function leastDiscRadiusPx({ widthPx, heightPx }: Shape): number {
  const shortPx = Math.min(widthPx, heightPx);
  return (Math.hypot(widthPx, heightPx) / 2 + leastOfSide * shortPx) / usableRadii;
}
