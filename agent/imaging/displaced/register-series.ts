import type { FftLibrary } from "../numerics/fft-library.ts";
import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { ShiftFinder } from "../registration/shift-finder.ts";
import { binLogs, type FrameLogs, logUnit, noLog } from "./frame-logs.ts";
import type { ShiftPx } from "./object-grid.ts";

/** Largest side of the pictures that are correlated; larger frames are binned first and refined later. */
const sideMostPx = 820;

/**
 * Blind shifts of all frames: each over the series' average, so that the rig's own pattern does not hold them at zero.
 * Correlated first with the frame in the middle of the series, then with the one in the middle of the shifts.
 * @param average the logarithm of the plain average, [heightPx, widthPx]
 * @returns shifts of `series.frames`, from one of them, and the peaks' significance
 */
export function* registerSeries(
  library: FftLibrary,
  series: { readonly frames: readonly number[]; readonly logs: FrameLogs; readonly shape: Shape },
  average: Float32Array,
): Generator<void, { shifts: ShiftPx[]; peakSigmas: number[] }> {
  const { widthPx, heightPx } = series.shape;
  const side = Math.max(1, Math.ceil(Math.max(widthPx, heightPx) / sideMostPx));
  const shape = { widthPx: Math.floor(widthPx / side), heightPx: Math.floor(heightPx / side) };
  const smallAverage = binAverage(average, series.shape, side);
  using finder = new ShiftFinder(library, shape, { fineSigmaPx: 1.5, coarseSigmaPx: 10 });
  const spectrumOf = (k: number) => {
    const small = binLogs(series.logs.get(series.frames[k]!, 0, widthPx * heightPx), widthPx, heightPx, side);
    const picture = new Float32Array(small.length);
    overAverage(small, smallAverage, picture);
    return finder.spectrumOf(picture);
  };
  let reference = series.frames.length >> 1;
  for (let round = 0; ; round++) {
    const first = spectrumOf(reference);
    const found: { x: number; y: number; peakSigma: number }[] = [];
    for (let k = 0; k < series.frames.length; k++) {
      found.push(finder.between(first, spectrumOf(k)));
      yield;
    }
    const middle = nearestToMiddle(found);
    const away = Math.hypot(found[middle]!.x, found[middle]!.y);
    // A short way saves nothing: frames overlap as well as they will.
    if (round === 1 || away < 0.05 * Math.min(shape.widthPx, shape.heightPx)) {
      return {
        shifts: found.map(({ x, y }) => ({ x: x * side, y: y * side })),
        peakSigmas: found.map(({ peakSigma }) => peakSigma),
      };
    }
    reference = middle;
  }
}

function nearestToMiddle(shifts: readonly ShiftPx[]): number {
  const x = median(shifts.map((shift) => shift.x))!;
  const y = median(shifts.map((shift) => shift.y))!;
  const far = shifts.map((shift) => Math.hypot(shift.x - x, shift.y - y));
  return far.indexOf(Math.min(...far));
}

function overAverage(logs: Int16Array, average: Float32Array, picture: Float32Array): void {
  for (let i = 0; i < logs.length; i++)
    picture[i] = logs[i] === noLog ? Number.NaN : logs[i]! * logUnit - average[i]!;
}

function binAverage(average: Float32Array, { widthPx, heightPx }: Shape, side: number): Float32Array {
  const [width, height] = [Math.floor(widthPx / side), Math.floor(heightPx / side)];
  const binned = new Float32Array(width * height);
  for (let y = 0; y < height * side; y++) {
    const to = Math.floor(y / side) * width;
    for (let x = 0; x < width * side; x++)
      binned[to + Math.floor(x / side)]! += average[y * widthPx + x]! / (side * side);
  }
  return binned;
}
