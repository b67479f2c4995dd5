import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { ShiftPx } from "./object-grid.ts";
import type { TaskPool } from "./piece-work.ts";
import { binnedShape } from "./series-correlator.ts";

/** Largest side of the pictures that are correlated; larger frames are binned first and refined later. */
const sideMostPx = 820;

/**
 * Blind shifts of all frames: each over the series' average, so that the rig's own pattern does not hold them at zero.
 * Correlated first with the frame in the middle of the series, then with the one in the middle of the shifts.
 * @param work has the frames' logarithms at hand
 * @param average the logarithm of the plain average, [heightPx, widthPx]
 * @returns shifts of `frames`, from one of them, and the peaks' significance
 */
export function* registerSeries(
  work: TaskPool,
  { frames, shape }: { readonly frames: readonly number[]; readonly shape: Shape },
  average: Float32Array,
): Generator<void, { shifts: ShiftPx[]; peakSigmas: number[] }> {
  const sidePx = Math.max(1, Math.ceil(Math.max(shape.widthPx, shape.heightPx) / sideMostPx));
  const binned = binnedShape({ shape, sidePx });
  const series = { shape, sidePx, average: binAverage(average, shape, sidePx) };
  let middle = frames.length >> 1;
  for (let round = 0; ; round++) {
    const found = new Float64Array(new SharedArrayBuffer(8 * 3 * frames.length));
    yield* work.run("correlateFrame", { series, frames, reference: frames[middle]!, found }, frames.length);
    const shifts = frames.map((_, k) => ({ x: found[3 * k]!, y: found[3 * k + 1]! }));
    middle = nearestToMiddle(shifts);
    const away = Math.hypot(shifts[middle]!.x, shifts[middle]!.y);
    // A short way saves nothing: frames overlap as well as they will.
    if (round === 1 || away < 0.05 * Math.min(binned.widthPx, binned.heightPx)) {
      return {
        shifts: shifts.map(({ x, y }) => ({ x: x * sidePx, y: y * sidePx })),
        peakSigmas: frames.map((_, k) => found[3 * k + 2]!),
      };
    }
  }
}

function nearestToMiddle(shifts: readonly ShiftPx[]): number {
  const x = median(shifts.map((shift) => shift.x))!;
  const y = median(shifts.map((shift) => shift.y))!;
  const far = shifts.map((shift) => Math.hypot(shift.x - x, shift.y - y));
  return far.indexOf(Math.min(...far));
}

function binAverage(average: Float32Array, { widthPx, heightPx }: Shape, sidePx: number): Float32Array {
  const [width, height] = [Math.floor(widthPx / sidePx), Math.floor(heightPx / sidePx)];
  const binned = new Float32Array(width * height);
  for (let y = 0; y < height * sidePx; y++) {
    const to = Math.floor(y / sidePx) * width;
    for (let x = 0; x < width * sidePx; x++)
      binned[to + Math.floor(x / sidePx)]! += average[y * widthPx + x]! / (sidePx * sidePx);
  }
  return binned;
}
