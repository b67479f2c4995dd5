import { pixelStatistics } from "../exposure/first-frames.ts";
import { lookUp, type NoiseByLevel, noiseByLevel, tabulate } from "../noise/noise-by-level.ts";
import { type GrowthPoint, NoiseGrowth } from "../noise/noise-growth.ts";
import { BlockMap } from "../numerics/block-map.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { type HalvesFigures, SeriesHalves } from "../proof/series-halves.ts";
import { medianRatio, sampleLitPx } from "./frame-scale.ts";
import { addFrames, framesAtOnce, type LiveFrame } from "./live-sums.ts";
import { masterMask } from "./master-mask.ts";
import { limitsFor } from "./master-samples.ts";

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

/** Frames held until the reference is made: enough for a median that no outlier moves. */
const referenceFrames = 12;
/** How many frames' worth of trust the noise of a pixel's peers has, beside the pixel's own scatter. */
const peerWeight = 20;
const blockSidePx = 32;

/**
 * A master frame from a series, fed frame by frame: memory does not grow with their number.
 * The first twelve frames give median and spread per pixel; each later sample enters if it lies within 5 sigma of the
 * median, sigma from the noise that pixels of its level show. Sums are shifted by the median, so float32 carries them.
 */
export class MasterBuilder {
  readonly #shape: Shape;
  readonly #options: MasterOptions;
  readonly #dark: Float32Array;
  readonly #clipAdu: number;
  readonly #held: LiveFrame[] = [];
  /** Accepted, but not in the sums yet. */
  readonly #pending: LiveFrame[] = [];
  #released: Uint16Array[] = [];
  #samplePx: Uint32Array = new Uint32Array(0);
  /** Dark-subtracted first frame, then the median of the first frames. */
  #reference: Float32Array;
  #limit: Float32Array = new Float32Array(0);
  #sum: Float32Array = new Float32Array(0);
  #squares: Float32Array = new Float32Array(0);
  #kept = new Uint16Array(0);
  #clipped = new Uint16Array(0);
  readonly #scales: number[] = [];
  #refused = 0;
  #settled = false;
  #growth: NoiseGrowth | undefined;
  #halves: SeriesHalves | undefined;

  constructor(options: MasterOptions) {
    this.#options = options;
    this.#shape = options.shape;
    const pxCount = options.shape.widthPx * options.shape.heightPx;
    this.#dark = options.dark?.meanAdu ?? new Float32Array(pxCount);
    checkShape(this.#dark, options.shape);
    if (options.unhealthyPx) checkShape(options.unhealthyPx, options.shape);
    this.#clipAdu = options.clipAdu ?? 65536;
    this.#reference = new Float32Array(0);
  }

  /** Frames accepted so far. */
  get frameCount(): number {
    return this.#scales.length;
  }

  /** The series will be of so many frames after all: its halves are parted anew. */
  expect(frameCount: number): void {
    this.#halves?.expect(frameCount);
  }

  /** Noise against number of frames, as far as it is known. */
  get growth(): readonly GrowthPoint[] {
    return this.#growth?.points ?? [];
  }

  /**
   * Takes a frame. The array is kept until `released` tells of it: it must not be written to before.
   * One of the first twelve that is accepted may still fall out when they are compared: go by `frameCount`.
   */
  add(pixelsAdu: Uint16Array): FrameVerdict {
    checkShape(pixelsAdu, this.#shape);
    if (this.frameCount === 0 && this.#held.length === 0) this.#begin(pixelsAdu);
    const scale = this.#scaleOf(pixelsAdu);
    if (this.#options.kind === "light" && !this.#levelIsSteady(scale))
      return this.#refuse({ pixels: pixelsAdu, scale }, "level jumped");
    if (!this.#settled) {
      this.#held.push({ pixels: pixelsAdu, scale });
      this.#scales.push(scale);
      if (this.#held.length === referenceFrames) this.#settle();
      return { accepted: true, scale };
    }
    if (this.#halves && !this.#halves.isEven(pixelsAdu, scale))
      return this.#refuse({ pixels: pixelsAdu, scale }, "uneven cloud");
    this.#scales.push(scale);
    this.#accumulate(pixelsAdu, scale);
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
    if (!this.#settled && this.frameCount >= 2) this.#settle();
    if (this.frameCount < 2) throw new RangeError("a master needs two frames or more");
    this.#addPending();
    const pxCount = this.#reference.length;
    const meanAdu = new Float32Array(pxCount);
    const own = new Float32Array(pxCount);
    for (let i = 0; i < pxCount; i++) {
      const n = this.#kept[i]!;
      if (n === 0) {
        meanAdu[i] = this.#reference[i]!;
        continue;
      }
      meanAdu[i] = this.#reference[i]! + this.#sum[i]! / n;
      own[i] = n < 2 ? 0 : Math.max(0, (this.#squares[i]! - this.#sum[i]! ** 2 / n) / (n - 1));
    }
    const noise = this.#noiseOf(meanAdu, own, this.frameCount - 1);
    const frameSigmaAdu = new Float32Array(pxCount);
    const sigmaAdu = new Float32Array(pxCount);
    const table = tabulate(noise);
    for (let i = 0; i < pxCount; i++) {
      const n = this.#kept[i]!;
      const peers = lookUp(table, meanAdu[i]!);
      const freedom = Math.max(0, n - 1);
      const variance = (freedom * own[i]! + peerWeight * peers) / (freedom + peerWeight);
      const darkSigma = this.#options.dark?.sigmaAdu[i] ?? 0;
      frameSigmaAdu[i] = Math.sqrt(n < 2 ? peers : own[i]!);
      sigmaAdu[i] = Math.sqrt(variance / Math.max(1, n) + darkSigma * darkSigma);
    }
    const mask = masterMask(meanAdu, {
      kind: this.#options.kind,
      frameCount: this.frameCount,
      kept: this.#kept,
      clipped: this.#clipped,
      unhealthyPx: this.#options.unhealthyPx,
    });
    return {
      shape: this.#shape,
      meanAdu,
      sigmaAdu,
      frameSigmaAdu,
      mask: mask.mask,
      frameCount: this.frameCount,
      refusedFrames: this.#refused,
      scales: [...this.#scales],
      rejectedFraction: mask.rejectedFraction,
      clippedFraction: mask.clippedFraction,
      growth: this.growth,
      halves: this.#halves?.figures(),
    };
  }

  #begin(first: Uint16Array): void {
    this.#reference = new Float32Array(first.length);
    for (let i = 0; i < first.length; i++) this.#reference[i] = first[i]! - this.#dark[i]!;
    if (this.#options.kind === "light")
      this.#samplePx = sampleLitPx(this.#reference, this.#options.unhealthyPx, 50_000).samplePx;
  }

  #scaleOf(pixelsAdu: Uint16Array): number {
    if (this.#options.kind === "dark") return 1;
    return medianRatio(pixelsAdu, this.#dark, this.#reference, this.#samplePx);
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

  /** Turns the held frames into the reference, its limits and the first sums, and lets them go. */
  #settle(): void {
    const frames = this.#held;
    const pxCount = this.#reference.length;
    const n = frames.length;
    this.#sum = new Float32Array(pxCount);
    this.#squares = new Float32Array(pxCount);
    this.#kept = new Uint16Array(pxCount);
    this.#clipped = new Uint16Array(pxCount);
    const { medians, variances, spreads } = pixelStatistics(frames, this.#dark, this.#clipAdu);
    const noise = this.#noiseOf(medians, variances, n - 1);
    this.#reference = medians;
    this.#limit = limitsFor(medians, spreads, noise);
    if (this.#options.kind === "light") {
      const lit = sampleLitPx(medians, this.#options.unhealthyPx, 16_384);
      this.#growth = new NoiseGrowth(medians, this.#dark, lit.samplePx, noise);
      const use = new Uint8Array(pxCount);
      for (let i = 0; i < pxCount; i++)
        use[i] = medians[i]! > lit.litFromAdu && this.#options.unhealthyPx?.[i] !== 1 ? 1 : 0;
      const map = new BlockMap(this.#shape, blockSidePx);
      this.#halves = new SeriesHalves(map, medians, this.#dark, use, noise, this.#options.frameCountExpected);
    }
    this.#settled = true;
    this.#scales.length = 0;
    for (const frame of frames) {
      if (this.#halves && !this.#halves.isEven(frame.pixels, frame.scale)) {
        this.#refuse(frame, "uneven cloud"); // only now is there something to compare the first frames with
        continue;
      }
      this.#scales.push(frame.scale);
      this.#accumulate(frame.pixels, frame.scale);
    }
    this.#held.length = 0;
  }

  #accumulate(pixelsAdu: Uint16Array, scale: number): void {
    this.#pending.push({ pixels: pixelsAdu, scale });
    this.#growth?.add(pixelsAdu, scale);
    this.#halves?.add(pixelsAdu, scale);
    if (this.#pending.length === framesAtOnce) this.#addPending();
  }

  #addPending(): void {
    addFrames(this.#pending, this.#dark, this.#clipAdu, {
      reference: this.#reference,
      limit: this.#limit,
      sum: this.#sum,
      squares: this.#squares,
      kept: this.#kept,
      clipped: this.#clipped,
    });
    this.#released.push(...this.#pending.map(({ pixels }) => pixels));
    this.#pending.length = 0;
  }

  #noiseOf(levelAdu: Float32Array, variances: Float32Array, degreesOfFreedom: number): NoiseByLevel {
    const every = Math.max(1, Math.floor(levelAdu.length / 60_000)) | 1;
    const levels: number[] = [];
    const values: number[] = [];
    for (let i = 0; i < levelAdu.length; i += every) {
      if (this.#options.unhealthyPx?.[i] === 1) continue;
      levels.push(levelAdu[i]!);
      values.push(variances[i]!);
    }
    return noiseByLevel(Float64Array.from(levels), Float64Array.from(values), degreesOfFreedom);
  }
}
