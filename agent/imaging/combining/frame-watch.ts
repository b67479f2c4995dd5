import type { NoiseByLevel } from "../noise/noise-by-level.ts";
import { type GrowthPoint, NoiseGrowth } from "../noise/noise-growth.ts";
import { type HalvesFigures, SeriesHalves } from "../noise/series-halves.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import { BlockSample, blockSidePx } from "./block-sample.ts";
import { measureFirstFrames } from "./first-frames.ts";
import { litThreshold, medianBlockRatio, medianRatio, spreadPx } from "./frame-scale.ts";
import { PixelSample } from "./pixel-sample.ts";
import { WorstChange } from "./worst-change.ts";

export interface WatchOptions {
  readonly shape: Shape;
  readonly darkAdu: Float32Array | undefined;
  readonly unhealthyPx: Uint8Array | undefined;
  readonly clipAdu: number;
  readonly frameCountExpected: number;
}

/** What is seen of a frame when it comes; once there is a reference, good until the next one comes. */
export interface MeasuredFrame {
  /** Place among the frames of the series as they came, refused ones too. */
  readonly index: number;
  readonly pixels: Uint16Array;
  /** Level relative to the first frame's. */
  readonly scale: number;
  readonly blockSums: Float64Array;
  readonly cellSums: Float64Array;
  /** Raw. */
  readonly samples: Uint16Array;
}

/** With fewer blocks than this the level is told pixel by pixel. */
const blocksLeast = 16;
const levelPx = 50_000;
/** Pixels on which the noise is followed: the figure is good to 1 %. */
const growthPx = 8192;

/** Level, evenness and noise of lit frames as they come, each told from a part of the frame. */
export class FrameWatch {
  readonly #options: WatchOptions;
  readonly #blocks: BlockSample;
  /** Of the first frame, then medians of the first frames. */
  #reference: Float64Array;
  readonly #usable: number[];
  readonly #level: { readonly sample: PixelSample; readonly reference: Float32Array } | undefined;
  readonly #sample: PixelSample;
  /** Frames that are not held share their arrays: no work for the collector. */
  #room: Pick<MeasuredFrame, "blockSums" | "cellSums" | "samples"> | undefined;
  readonly #ratios: Float64Array;
  #halves: SeriesHalves | undefined;
  #growth: NoiseGrowth | undefined;

  constructor(first: Uint16Array, options: WatchOptions) {
    this.#options = options;
    const { darkAdu, unhealthyPx } = options;
    const levelAt = darkAdu ? (px: number) => first[px]! - darkAdu[px]! : (px: number) => first[px]!;
    const litFromAdu = litThreshold(first.length, levelAt);
    const isLit = (px: number) => levelAt(px) > litFromAdu && unhealthyPx?.[px] !== 1;
    this.#blocks = new BlockSample(options.shape, darkAdu, isLit);
    this.#sample = new PixelSample(spreadPx(first.length, growthPx, isLit), darkAdu);
    const reference = this.#blockSums(this.#blocks.sumsOf(first));
    this.#reference = reference;
    this.#usable = [...reference.keys()].filter((b) => this.#blocks.isUsable(b) && reference[b]! > 0);
    this.#ratios = new Float64Array(this.#usable.length);
    if (this.#usable.length >= blocksLeast) return;
    const sample = new PixelSample(spreadPx(first.length, levelPx, isLit), darkAdu);
    this.#level = { sample, reference: mapInto(new Float32Array(sample.px.length), sample.px, levelAt) };
  }

  get growth(): readonly GrowthPoint[] {
    return this.#growth?.points ?? [];
  }

  get halves(): HalvesFigures | undefined {
    return this.#halves?.figures();
  }

  /** No more frames will be seen; what was is still told. */
  finish(): void {
    this.#blocks[Symbol.dispose]();
  }

  expect(frameCount: number): void {
    this.#halves?.expect(frameCount);
  }

  see(pixels: Uint16Array): Omit<MeasuredFrame, "index"> {
    const cellSums = this.#blocks.sumsOf(pixels, this.#room?.cellSums);
    const blockSums = this.#blockSums(cellSums, this.#room?.blockSums);
    const samples = this.#sample.of(pixels, this.#room?.samples);
    return { pixels, scale: this.#scaleOf(pixels, blockSums), blockSums, cellSums, samples };
  }

  #blockSums(cellSums: Float64Array, room?: Float64Array): Float64Array {
    return this.#blocks.addCells(cellSums, room ?? new Float64Array(this.#blocks.counts.length));
  }

  #scaleOf(pixels: Uint16Array, sums: Float64Array): number {
    if (this.#level === undefined) return medianBlockRatio(sums, this.#reference, this.#usable, this.#ratios);
    const { sample, reference } = this.#level;
    return medianRatio(sample.of(pixels), sample.darkAdu, reference, new Uint32Array(reference.keys()));
  }

  /** From the first frames on, those that follow can be compared with what is usual. */
  compareWith(first: readonly MeasuredFrame[], noise: NoiseByLevel): void {
    this.#room = {
      blockSums: new Float64Array(this.#reference.length),
      cellSums: new Float64Array(this.#blocks.cellCounts.length),
      samples: new Uint16Array(this.#sample.px.length),
    };
    this.#reference = mediansOf(first);
    this.#halves = new SeriesHalves(
      {
        sidePx: blockSidePx,
        counts: this.#blocks.counts,
        isUsable: (b) => this.#blocks.isUsable(b),
        reference: this.#reference,
      },
      noise,
      this.#options.frameCountExpected,
      new WorstChange(this.#blocks, noise),
    );
    const samples = first.map((frame) => ({ pixels: frame.samples, scale: frame.scale }));
    const { medians } = measureFirstFrames(samples, this.#sample.darkAdu, this.#options.clipAdu);
    this.#growth = new NoiseGrowth(medians, this.#sample.darkAdu, noise);
  }

  /** No cloud's edge in it, as far as there is something to compare with. */
  hasUniformLight({ blockSums, scale }: MeasuredFrame): boolean {
    return this.#halves?.hasUniformLight(blockSums, scale) ?? true;
  }

  /** It is one of the series. */
  count({ blockSums, cellSums, samples, scale }: MeasuredFrame): void {
    this.#halves?.add(blockSums, cellSums, scale);
    this.#growth?.add(samples, scale);
  }
}

/** Of each block over some frames, brought to one level. */
function mediansOf(frames: readonly MeasuredFrame[]): Float64Array {
  const medians = new Float64Array(frames[0]!.blockSums.length);
  const one = new Float64Array(frames.length);
  for (let b = 0; b < medians.length; b++) {
    for (let k = 0; k < frames.length; k++) one[k] = frames[k]!.blockSums[b]! / frames[k]!.scale;
    medians[b] = medianInPlace(one)!;
  }
  return medians;
}
