import { median } from "../numerics/order-statistics.ts";
import type { ShiftPx } from "./object-grid.ts";

/** A frame that leaves more than this times the usual residual is dropped; below, it counts less. */
const residualRatioMost = 2;
/** A blind shift this far from the expected one is a mistake. */
const giveWayPx = 8;

/** Without the worst: what they did to the solution makes others look bad too, which the next round puts right. */
export function selectConsistentFrames(frames: readonly number[], residualRms: Float64Array): number[] {
  const residuals = frames.map((frameIndex) => residualRms[frameIndex]!);
  const most = Math.max(residualRatioMost * median(residuals)!, Math.max(...residuals) / 2);
  return frames.filter((frameIndex) => residualRms[frameIndex]! <= most);
}

/** By inverse variance, but a frame that is better than usual gains nothing. */
export function setFrameWeights(
  frames: readonly number[],
  residualRms: Float64Array,
  weights: Float64Array,
): void {
  const usual = median(frames.map((frameIndex) => residualRms[frameIndex]!))!;
  for (const frameIndex of frames)
    weights[frameIndex] = residualRms[frameIndex]! > usual ? (usual / residualRms[frameIndex]!) ** 2 : 1;
}

/** Puts expected shifts, known up to a common one, in the place of blind ones that are too far from them. */
export function replaceUnlikelyShifts(
  shifts: ShiftPx[],
  expected: readonly ShiftPx[],
  frames: readonly number[],
): void {
  // Both are known only up to a common shift.
  const dx = median(frames.map((frameIndex) => shifts[frameIndex]!.x - expected[frameIndex]!.x))!;
  const dy = median(frames.map((frameIndex) => shifts[frameIndex]!.y - expected[frameIndex]!.y))!;
  for (const frameIndex of frames) {
    const should = { x: expected[frameIndex]!.x + dx, y: expected[frameIndex]!.y + dy };
    const is = shifts[frameIndex]!;
    if (Math.hypot(is.x - should.x, is.y - should.y) > giveWayPx) shifts[frameIndex] = should;
  }
}
