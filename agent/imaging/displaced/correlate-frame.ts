import { SeriesCorrelator, type SeriesToCorrelate } from "./series-correlator.ts";
import type { TaskContext } from "./task-tools.ts";

/** For a piece: finds one frame's shift. @param about.found x, y [binned px] and significance of each of `frames` */
export function* correlateFrame(
  tools: TaskContext,
  about: {
    readonly series: SeriesToCorrelate;
    readonly frames: readonly number[];
    readonly reference: number;
    readonly found: Float64Array;
  },
  k: number,
): Generator<void> {
  tools.correlator ??= new SeriesCorrelator(tools.fft!, about.series, tools.logs.full!);
  const { x, y, peakSigma } = tools.correlator.between(about.reference, about.frames[k]!);
  about.found.set([x, y, peakSigma], 3 * k);
  yield;
}
