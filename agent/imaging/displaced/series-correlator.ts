import type { FftLibrary } from "../numerics/fft-library.ts";
import type { Shape } from "../numerics/shape.ts";
import { type FoundShift, ShiftFinder } from "../registration/shift-finder.ts";
import { binLogs, type FrameLogs, logUnit, noLog } from "./frame-logs.ts";

/** Frames of a series, binned, over their average. Plain data. */
export interface SeriesToCorrelate {
  readonly shape: Shape;
  /** Sides of the blocks that are binned [px]. */
  readonly sidePx: number;
  /** The logarithm of the plain average, binned. */
  readonly average: Float32Array;
}

export function binnedShape({ shape, sidePx }: Pick<SeriesToCorrelate, "shape" | "sidePx">): Shape {
  return { widthPx: Math.floor(shape.widthPx / sidePx), heightPx: Math.floor(shape.heightPx / sidePx) };
}

export class SeriesCorrelator implements Disposable {
  readonly #finder: ShiftFinder;
  readonly #picture: Float32Array;
  #first: { readonly frameIndex: number; readonly spectrum: Float32Array } | undefined;

  constructor(
    library: FftLibrary,
    readonly series: SeriesToCorrelate,
    readonly logs: FrameLogs,
  ) {
    const binned = binnedShape(series);
    this.#picture = new Float32Array(binned.widthPx * binned.heightPx);
    this.#finder = new ShiftFinder(library, binned, { fineSigmaPx: 1.5, coarseSigmaPx: 10 });
  }

  /** How far a frame's content lies from that of another [binned px]. */
  between(reference: number, frameIndex: number): FoundShift {
    if (this.#first?.frameIndex !== reference)
      this.#first = { frameIndex: reference, spectrum: this.#spectrumOf(reference) };
    return this.#finder.between(this.#first.spectrum, this.#spectrumOf(frameIndex));
  }

  #spectrumOf(frameIndex: number): Float32Array {
    const { shape, sidePx, average } = this.series;
    const { widthPx, heightPx } = shape;
    const binned = binLogs(this.logs.get(frameIndex, 0, widthPx * heightPx), widthPx, heightPx, sidePx);
    overAverage(binned, average, this.#picture);
    return this.#finder.spectrumOf(this.#picture);
  }

  [Symbol.dispose](): void {
    this.#finder[Symbol.dispose]();
  }
}

function overAverage(logs: Int16Array, average: Float32Array, picture: Float32Array): void {
  for (let i = 0; i < logs.length; i++)
    picture[i] = logs[i] === noLog ? Number.NaN : logs[i]! * logUnit - average[i]!;
}
