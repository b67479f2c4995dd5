import { maskBits } from "../../combining/mask-bits.ts";
import type { Shape } from "../../numerics/shape.ts";

/** Pixels on each side that are asked whether they see the Sun. */
const reachPx = 2;

/**
 * Says of pixels without a solution why they have none: clipped in most frames, or blind among neighbours that see.
 * @param mask of the solution, in which all of them are unlit or rejected; changed
 * @param clippedIn number of frames that each pixel was clipped in
 * @param unhealthyPx known from darks
 * @returns share of healthy pixels that clipping took
 */
export function maskUnsolvedPixels(
  mask: Uint8Array,
  shape: Shape,
  lost: {
    readonly frameCount: number;
    readonly clippedIn: Uint16Array;
    readonly unhealthyPx: Uint8Array | undefined;
  },
): number {
  const { frameCount, clippedIn, unhealthyPx } = lost;
  const seen = mask.map((bits) => (bits === 0 ? 1 : 0));
  let [healthy, clipped] = [0, 0];
  for (let i = 0; i < mask.length; i++) {
    if (unhealthyPx?.[i] === 1) {
      mask[i] = maskBits.unhealthy;
      continue;
    }
    healthy++;
    if (clippedIn[i]! > frameCount / 2) {
      mask[i] = maskBits.clipped;
      clipped++;
    } else if (mask[i] !== 0 && mostNeighboursSee(seen, shape, i)) mask[i] = maskBits.unhealthy;
  }
  return clipped / Math.max(1, healthy);
}

function mostNeighboursSee(seen: Uint8Array, { widthPx, heightPx }: Shape, i: number): boolean {
  const [x0, y0] = [i % widthPx, Math.floor(i / widthPx)];
  let [see, all] = [0, 0];
  for (let y = Math.max(0, y0 - reachPx); y <= Math.min(heightPx - 1, y0 + reachPx); y++) {
    for (let x = Math.max(0, x0 - reachPx); x <= Math.min(widthPx - 1, x0 + reachPx); x++) {
      all++;
      see += seen[y * widthPx + x]!;
    }
  }
  return 2 * see > all;
}
