import type { Shape } from "../numerics/shape.ts";
import { type FrameLogs, logUnit, noLog, toLogs } from "./frame-logs.ts";

export interface SeriesToRead {
  readonly shape: Shape;
  readonly frameCount: number;
  /** Fills in a frame's levels above the dark, row-major, any scale; NaN where a pixel is clipped or unhealthy. */
  readonly readLevels: (frameIndex: number, into: Float32Array) => void;
}

export interface ReadSeries {
  readonly logs: FrameLogs;
  /** Logarithm of each frame's median level; NaN for one without light. */
  readonly medians: Float64Array;
  /** Frames with light. */
  readonly frames: readonly number[];
  /** Mean of the logarithms of all frames that have a value there: the plain average. */
  readonly average: Float32Array;
}

/** Every frame once, in order. */
export function* readSeries(series: SeriesToRead, logs: FrameLogs): Generator<void, ReadSeries> {
  const { shape, frameCount } = series;
  const pxCount = shape.widthPx * shape.heightPx;
  const medians = new Float64Array(frameCount);
  const levels = new Float32Array(pxCount);
  const frameLogs = new Int16Array(pxCount);
  const average = new Float32Array(pxCount);
  const count = new Uint16Array(pxCount);
  const frames: number[] = [];
  for (let frameIndex = 0; frameIndex < frameCount; frameIndex++) {
    series.readLevels(frameIndex, levels);
    medians[frameIndex] = toLogs(levels, frameLogs) ?? Number.NaN;
    if (!Number.isNaN(medians[frameIndex]!)) {
      frames.push(frameIndex);
      logs.put(frameIndex, frameLogs);
      addLogs(frameLogs, average, count);
    }
    yield;
  }
  for (let i = 0; i < pxCount; i++) if (count[i]! > 0) average[i]! *= logUnit / count[i]!;
  return { logs, medians, frames, average };
}

function addLogs(logs: Int16Array, sum: Float32Array, count: Uint16Array): void {
  for (let i = 0; i < logs.length; i++) {
    const log = logs[i]!;
    if (log === noLog) continue;
    sum[i]! += log;
    count[i]!++;
  }
}
