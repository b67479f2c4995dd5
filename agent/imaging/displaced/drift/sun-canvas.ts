import type { Flat } from "../../combining/normalise-flat.ts";
import type { ShiftPx } from "../object-grid.ts";
import { framePlace, objectGrid } from "../object-grid.ts";

export interface SunFrame {
  readonly shift: ShiftPx;
  /** Fills in levels above the dark over the frame's own level, mean near 1; NaN where a pixel is not to be used. */
  readonly read: (into: Float32Array) => void;
}

/**
 * The Sun's own picture from displaced frames, each divided by the flat and laid where it belongs; limb darkening is in it.
 * @returns a reader of the picture as a frame at that shift sees it; NaN where no frame saw it
 */
export function stackSun(
  frames: readonly SunFrame[],
  flat: Flat,
): (shift: ShiftPx, into: Float32Array) => void {
  const { widthPx, heightPx } = flat.shape;
  const grid = objectGrid(
    flat.shape,
    frames.map(({ shift }) => shift),
  );
  const sum = new Float32Array(grid.widthPx * grid.heightPx);
  const weight = new Float32Array(sum.length);
  const levels = new Float32Array(widthPx * heightPx);
  for (const frame of frames) {
    frame.read(levels);
    const { index, rightShare, lowerShare } = framePlace(grid, frame.shift);
    const corners = [
      [index, (1 - rightShare) * (1 - lowerShare)],
      [index + 1, rightShare * (1 - lowerShare)],
      [index + grid.widthPx, (1 - rightShare) * lowerShare],
      [index + grid.widthPx + 1, rightShare * lowerShare],
    ] as const;
    for (let y = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++) {
        const i = y * widthPx + x;
        if (flat.mask[i] !== 0 || !(levels[i]! > 0)) continue;
        const value = levels[i]! / flat.gain[i]!;
        for (const [start, share] of corners) {
          const at = start + y * grid.widthPx + x;
          sum[at]! += share * value;
          weight[at]! += share;
        }
      }
    }
  }
  for (let i = 0; i < sum.length; i++) sum[i] = weight[i]! > 0.5 ? sum[i]! / weight[i]! : Number.NaN;
  return (shift, into) => {
    const { index, rightShare, lowerShare } = framePlace(grid, shift);
    for (let y = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++) {
        const at = index + y * grid.widthPx + x;
        const column = x + (index % grid.widthPx);
        const row = y + Math.floor(index / grid.widthPx);
        const within = column >= 0 && column + 1 < grid.widthPx && row >= 0 && row + 1 < grid.heightPx;
        into[y * widthPx + x] = within
          ? (1 - lowerShare) * ((1 - rightShare) * sum[at]! + rightShare * sum[at + 1]!) +
            lowerShare *
              ((1 - rightShare) * sum[at + grid.widthPx]! + rightShare * sum[at + grid.widthPx + 1]!)
          : Number.NaN;
      }
    }
  };
}
