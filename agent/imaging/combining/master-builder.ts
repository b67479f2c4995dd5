import type { GrowthPoint } from "../noise/noise-growth.ts";
import { finishMaster, type Master } from "./finish-master.ts";
import {
  clipNone,
  FrameSelection,
  type FrameVerdict,
  type Selected,
  type SeriesOptions,
} from "./frame-selection.ts";
import { LiveStripes } from "./live-stripes.ts";

/** One frame says nothing about its noise: no two are left that agree in light. */
export class TooFewFramesError extends RangeError {
  override readonly name = "TooFewFramesError";
  readonly code = "TOO_FEW_FRAMES";
  readonly whatToDo = "Wait for steady light and a clear sky, then run the plan again.";
  constructor() {
    super("a master needs two frames or more, and no two of those taken agree in light");
  }
}

/**
 * A master frame from a series, fed frame by frame: memory does not grow with their number.
 * Which frames count is told by `FrameSelection`, sums of all pixels are kept by `LiveStripes`.
 */
export class MasterBuilder {
  readonly #options: SeriesOptions;
  readonly #selection: FrameSelection;
  readonly #stripes: LiveStripes;
  #released: Uint16Array[] = [];

  constructor(options: SeriesOptions) {
    const { shape, dark, clipAdu = clipNone } = options;
    this.#options = options;
    this.#selection = new FrameSelection(options);
    const pxCount = shape.widthPx * shape.heightPx;
    this.#stripes = new LiveStripes({ pxCount, clipAdu, darkAdu: dark?.meanAdu });
  }

  /** Frames accepted so far. */
  get frameCount(): number {
    return this.#selection.scales.length;
  }

  /** The series will be of so many frames after all: its halves are parted anew. */
  expect(frameCount: number): void {
    this.#selection.expect(frameCount);
  }

  /** Noise against number of frames, as far as it is known. */
  get growth(): readonly GrowthPoint[] {
    return this.#selection.growth;
  }

  /**
   * Takes a frame. The array is kept until `released` tells of it: it must not be written to before.
   * One of the first twelve that is accepted may still fall out when they are compared: go by `frameCount`.
   */
  add(pixelsAdu: Uint16Array): FrameVerdict {
    const { verdict, ...selected } = this.#selection.add(pixelsAdu);
    if (verdict.accepted && !this.#selection.noise) this.#stripes.prepare(this.frameCount - 1);
    this.#take(selected);
    return verdict;
  }

  /** Frames taken since the last call of this that are not looked at any more: their memory may be used again. */
  released(): readonly Uint16Array[] {
    const released = this.#released;
    this.#released = [];
    return released;
  }

  /** Ends it. @throws TooFewFramesError */
  finish(): Master {
    this.#take(this.#selection.finish());
    if (!this.#selection.noise) throw new TooFewFramesError();
    using sums = this.#stripes.finish();
    return finishMaster(sums, this.#selection, this.#options);
  }

  #take({ counted, refused }: Omit<Selected, "verdict">): void {
    this.#released.push(...refused.map(({ frame }) => frame.pixels));
    const { noise } = this.#selection;
    if (!noise) return;
    this.#stripes.begin(noise);
    for (const frame of counted) this.#released.push(...this.#stripes.add(frame));
  }
}
