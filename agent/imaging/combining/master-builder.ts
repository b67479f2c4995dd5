import { type NoiseByLevel, noiseByLevel } from "../noise/noise-by-level.ts";
import type { GrowthPoint } from "../noise/noise-growth.ts";
import type { HalvesFigures } from "../noise/series-halves.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { meansOf } from "./finish-master.ts";
import { type LiveFrame, pixelStatistics } from "./first-frames.ts";
import { spreadPx } from "./frame-scale.ts";
import { FrameWatch, type SeenFrame } from "./frame-watch.ts";
import { LiveStripes, referenceFrames } from "./live-stripes.ts";

import { masterMask } from "./master-mask.ts";
import { PixelSample } from "./pixel-sample.ts";

export interface MasterOptions {
  readonly shape: Shape;
  /** Splits the series into its first and second half; a different number in the end does no harm. */
  readonly frameCountExpected: number;
  /** A sample at or above this is clipped and not used [adu, raw]. Default: none is. */
  readonly clipAdu?: number;
  /** Taken off every frame [adu]; its own noise enters the result's. */
  readonly dark?: { readonly meanAdu: Float32Array; readonly sigmaAdu: Float32Array };
  readonly unhealthyPx?: Uint8Array;
  /** `light` frames are scaled to one level and must be lit; `dark` frames are taken as they are. */
  readonly kind: "light" | "dark";
  /** A light frame whose level differs by more than this share from the last accepted ones is refused. Default 0.05. */
  readonly scaleTolerance?: number;
}

export interface FrameVerdict {
  readonly accepted: boolean;
  /** Level relative to the first frame's. */
  readonly scale: number;
  readonly reason?: "level jumped" | "uneven cloud";
}

export interface Master {
  readonly shape: Shape;
  /** Mean of the frames, dark taken off, at the first frame's level [adu]. */
  readonly meanAdu: Float32Array;
  /** One sigma of that mean [adu]. */
  readonly sigmaAdu: Float32Array;
  /** One sigma of a single frame [adu]. */
  readonly frameSigmaAdu: Float32Array;
  /** See `maskBits`. */
  readonly mask: Uint8Array;
  readonly frameCount: number;
  readonly refusedFrames: number;
  readonly scales: readonly number[];
  /** Share of all samples that were rejected as outliers. */
  readonly rejectedFraction: number;
  /** Share of healthy pixels that were clipped in more than one frame in fifty. */
  readonly clippedFraction: number;
  readonly growth: readonly GrowthPoint[];
  readonly halves: HalvesFigures | undefined;
}

/** Pixels that tell the noise of their level in the first frames, and in the end. */
const noisePx = { first: 10_000, end: 60_000 } as const;

/**
 * A master frame from a series, fed frame by frame: memory does not grow with their number.
 * Level, evenness and noise of each frame are told from parts of it (`FrameWatch`), sums of all pixels are kept by
 * `LiveStripes`.
 */
export class MasterBuilder {
  readonly #options: MasterOptions;
  readonly #clipAdu: number;
  /** Accepted, but not compared with each other yet. */
  readonly #held: SeenFrame[] = [];
  #watch: FrameWatch | undefined;
  #stripes: LiveStripes | undefined;
  /** Pixels that tell the noise in the first frames. */
  #noiseSample: PixelSample | undefined;
  #begun = false;
  #released: Uint16Array[] = [];
  readonly #scales: number[] = [];
  #refused = 0;

  constructor(options: MasterOptions) {
    const { shape, dark, unhealthyPx } = options;
    if (dark) checkShape(dark.meanAdu, shape);
    if (unhealthyPx) checkShape(unhealthyPx, shape);
    this.#options = options;
    this.#clipAdu = options.clipAdu ?? 65536;
  }

  /** Frames accepted so far. */
  get frameCount(): number {
    return this.#scales.length;
  }

  /** The series will be of so many frames after all: its halves are parted anew. */
  expect(frameCount: number): void {
    this.#watch?.expect(frameCount);
  }

  /** Noise against number of frames, as far as it is known. */
  get growth(): readonly GrowthPoint[] {
    return this.#watch?.growth ?? [];
  }

  /**
   * Takes a frame. The array is kept until `released` tells of it: it must not be written to before.
   * One of the first twelve that is accepted may still fall out when they are compared: go by `frameCount`.
   */
  add(pixelsAdu: Uint16Array): FrameVerdict {
    checkShape(pixelsAdu, this.#options.shape);
    const frame = this.#see(pixelsAdu);
    const { scale } = frame;
    if (!this.#levelIsSteady(scale)) return this.#refuse(frame, "level jumped");
    if (this.#watch?.isEven(frame) === false) return this.#refuse(frame, "uneven cloud");
    this.#scales.push(scale);
    if (this.#begun) this.#count(frame);
    else this.#hold(frame);
    return { accepted: true, scale };
  }

  /** Frames taken since the last call of this that are not looked at any more: their memory may be used again. */
  released(): readonly Uint16Array[] {
    const released = this.#released;
    this.#released = [];
    return released;
  }

  /** @throws RangeError below two frames: one frame says nothing about its noise */
  finish(): Master {
    if (!this.#begun && this.frameCount >= 2) this.#compare();
    if (!this.#stripes || !this.#begun) throw new RangeError("a master needs two frames or more");
    const { shape, kind, dark, unhealthyPx } = this.#options;
    const { frameCount } = this;
    const sums = this.#stripes.finish();
    const means = meansOf(sums, frameCount, dark?.sigmaAdu, (levels, variances) =>
      this.#noiseAmong(this.#healthyPx(noisePx.end), frameCount - 1, levels, variances),
    );
    const { rejected, clipped } = sums;
    return {
      shape,
      ...means,
      ...masterMask(means.meanAdu, { kind, frameCount, rejected, clipped, unhealthyPx }),
      frameCount,
      refusedFrames: this.#refused,
      scales: [...this.#scales],
      growth: this.growth,
      halves: this.#watch?.halves,
    };
  }

  #see(pixels: Uint16Array): SeenFrame {
    const { kind, shape, dark, unhealthyPx, frameCountExpected } = this.#options;
    if (kind === "dark")
      return { pixels, scale: 1, blockSums: new Float64Array(0), samples: new Uint16Array(0) };
    const [darkAdu, clipAdu] = [dark?.meanAdu, this.#clipAdu];
    this.#watch ??= new FrameWatch(pixels, { shape, darkAdu, unhealthyPx, clipAdu, frameCountExpected });
    return this.#watch.see(pixels);
  }

  /** Against the median of the last few, so that a slowly sinking Sun is no jump. */
  #levelIsSteady(scale: number): boolean {
    const last = this.#scales.slice(-9);
    if (last.length === 0) return true;
    const usual = medianInPlace(Float64Array.from(last))!;
    return Math.abs(scale / usual - 1) <= (this.#options.scaleTolerance ?? 0.05);
  }

  #refuse({ pixels, scale }: LiveFrame, reason: "level jumped" | "uneven cloud"): FrameVerdict {
    this.#refused++;
    this.#released.push(pixels);
    return { accepted: false, scale, reason };
  }

  #hold(frame: SeenFrame): void {
    const { shape, dark } = this.#options;
    const pxCount = shape.widthPx * shape.heightPx;
    this.#stripes ??= new LiveStripes({ pxCount, clipAdu: this.#clipAdu, darkAdu: dark?.meanAdu });
    this.#stripes.prepare(this.#held.length);
    // Neither with the first frame nor with the twelfth, which have enough to do.
    if (this.#held.length === 1)
      this.#noiseSample = new PixelSample(this.#healthyPx(noisePx.first), dark?.meanAdu);
    this.#held.push(frame);
    if (this.#held.length === referenceFrames) this.#compare();
  }

  /** The first frames with each other: only now is there something that they could be uneven against. */
  #compare(): void {
    const frames = this.#held.splice(0);
    this.#scales.length = 0;
    const noise = this.#firstNoise(frames);
    this.#watch?.compareWith(frames, noise);
    const even = frames.filter((frame) => this.#watch?.isEven(frame) !== false);
    for (const frame of frames) if (!even.includes(frame)) this.#refuse(frame, "uneven cloud");
    if (even.length < 2) return;
    this.#stripes!.begin(even.length === frames.length ? noise : this.#firstNoise(even));
    this.#begun = true;
    for (const frame of even) {
      this.#scales.push(frame.scale);
      this.#count(frame);
    }
  }

  #count(frame: SeenFrame): void {
    this.#watch?.count(frame);
    this.#released.push(...this.#stripes!.add(frame));
  }

  #firstNoise(frames: readonly LiveFrame[]): NoiseByLevel {
    const sample = this.#noiseSample!;
    const few = frames.map(({ pixels, scale }) => ({ pixels: sample.of(pixels), scale }));
    const { medians, variances } = pixelStatistics(few, sample.darkAdu, this.#clipAdu);
    return noiseByLevel(Float64Array.from(medians), Float64Array.from(variances), frames.length - 1);
  }

  #noiseAmong(
    px: Uint32Array,
    degreesOfFreedom: number,
    levels: Float32Array,
    variances: Float32Array,
  ): NoiseByLevel {
    const taken = (values: Float32Array) => Float64Array.from(px, (i) => values[i]!);
    return noiseByLevel(taken(levels), taken(variances), degreesOfFreedom);
  }

  #healthyPx(countMax: number): Uint32Array {
    const { shape, unhealthyPx } = this.#options;
    return spreadPx(shape.widthPx * shape.heightPx, countMax, (px) => unhealthyPx?.[px] !== 1);
  }
}
