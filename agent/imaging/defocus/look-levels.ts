import { BlockMap } from "../numerics/block-map.ts";
import { mapInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";

/** One look at the blurred Sun from one pointing, as means over blocks, its frames parted into two halves. */
export interface SkyObservation {
  /** How far the Sun lies from where it lay when it was centred [px]. */
  readonly shift: { readonly x: number; readonly y: number };
  /** In the middle of the look. */
  readonly utcMs: number;
  /** Level of each block above the dark [adu]; NaN where too few of its pixels can be used. */
  readonly first: Float32Array;
  readonly second: Float32Array;
  readonly framesPerHalf: number;
}

/** Finest blocks that a look keeps: memory stays small however large the frame is. */
const blocksMax = 80_000;
const sideLeastPx = 4;

export function lookSidePx({ widthPx, heightPx }: Shape): number {
  return Math.max(sideLeastPx, Math.ceil(Math.sqrt((widthPx * heightPx) / blocksMax)));
}

/** Block means of the even and of the odd frames. @param usePx 1 where a pixel counts; a block needs three quarters */
export function measureBlockLevels(
  frames: readonly Uint16Array[],
  darkAdu: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
): Pick<SkyObservation, "first" | "second" | "framesPerHalf"> {
  const map = new BlockMap(shape, lookSidePx(shape));
  const counts = map.sumPicture(new Float32Array(usePx.length), usePx).counts;
  const half = (parity: number) => {
    const own = frames.filter((_, k) => k % 2 === parity);
    const sums = new Float64Array(map.count);
    for (const frame of own) {
      const one = map.sumFrame(frame, darkAdu, usePx);
      for (let b = 0; b < sums.length; b++) sums[b]! += one[b]!;
    }
    return mapInto(new Float32Array(sums.length), sums, (sum, b) =>
      counts[b]! < 0.75 * map.sidePx ** 2 ? Number.NaN : sum / counts[b]! / own.length,
    );
  };
  return { first: half(0), second: half(1), framesPerHalf: Math.floor(frames.length / 2) };
}
