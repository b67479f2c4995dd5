import { type NoiseByLevel, noiseByLevel } from "../noise/noise-by-level.ts";
import type { GrowthPoint } from "../noise/noise-growth.ts";
import type { HalvesFigures } from "../noise/series-halves.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { measureFirstFrames } from "./first-frames.ts";
import { spreadPx } from "./frame-scale.ts";
import { FrameWatch, type MeasuredFrame } from "./frame-watch.ts";
import { PixelSample } from "./pixel-sample.ts";

export interface SeriesOptions {
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

/** Where nothing is clipped: above every 16-bit count. */
export const clipNone = 65_536;

export type RefusalReason = "level jumped" | "uneven cloud";

export interface FrameVerdict {
  readonly accepted: boolean;
  /** Level relative to the first frame's. */
  readonly scale: number;
  readonly reason?: RefusalReason;
}

/** What a frame brought about. */
export interface Selected {
  readonly verdict: FrameVerdict;
  /** Frames that count from now on, in the order they came. */
  readonly counted: readonly MeasuredFrame[];
  readonly refused: readonly { readonly frame: MeasuredFrame; readonly reason: RefusalReason }[];
}

interface HeldFrame {
  readonly frame: MeasuredFrame;
  readonly noiseAdu: Uint16Array;
}

/** Frames that are compared with each other before any counts: enough for a median that no outlier moves. */
export const referenceFrames = 12;
/** Pixels that tell the noise of their level in the first frames. */
const noisePx = 10_000;
/** Of darks, whose light nobody compares. */
const noSums = new Float64Array(0);

/**
 * Which frames of a series count, and at what level: told from parts of each frame (`FrameWatch`) as they come.
 * The first twelve wait for each other; what is even among them counts when the twelfth has come.
 */
export class FrameSelection {
  readonly #options: SeriesOptions;
  readonly #clipAdu: number;
  readonly #scales: number[] = [];
  readonly #held: HeldFrame[] = [];
  /** Of the reference, until frames count. */
  #usualScale: number | undefined;
  #watch: FrameWatch | undefined;
  #noiseSample: PixelSample | undefined;
  #noise: NoiseByLevel | undefined;
  #seen = 0;
  #refused = 0;
  #isFinished = false;

  constructor(options: SeriesOptions) {
    const { shape, dark, unhealthyPx } = options;
    if (dark) checkShape(dark.meanAdu, shape);
    if (unhealthyPx) checkShape(unhealthyPx, shape);
    this.#options = options;
    this.#clipAdu = options.clipAdu ?? clipNone;
  }

  /** Level of each frame accepted so far, relative to the first one's. */
  get scales(): readonly number[] {
    return this.#scales;
  }

  get refusedFrames(): number {
    return this.#refused;
  }

  /** What pixels of a level show in one frame; `undefined` until frames count. */
  get noise(): NoiseByLevel | undefined {
    return this.#noise;
  }

  /** Noise against number of frames, as far as it is known. */
  get growth(): readonly GrowthPoint[] {
    return this.#watch?.growth ?? [];
  }

  get halves(): HalvesFigures | undefined {
    return this.#watch?.halves;
  }

  /** The series will be of so many frames after all: its halves are parted anew. */
  expect(frameCount: number): void {
    this.#watch?.expect(frameCount);
  }

  /**
   * @param pixelsAdu raw; not read any more when this returns
   * @throws RangeError for a frame of another size
   */
  add(pixelsAdu: Uint16Array): Selected {
    if (this.#isFinished) throw new Error("a frame after the end of its series");
    checkShape(pixelsAdu, this.#options.shape);
    const frame = this.#see(pixelsAdu);
    const { scale } = frame;
    const reason = this.#reasonToRefuse(frame);
    if (reason) {
      this.#refused++;
      return { verdict: { accepted: false, scale, reason }, counted: [], refused: [{ frame, reason }] };
    }
    this.#scales.push(scale);
    const verdict = { accepted: true, scale };
    if (!this.#noise) return { verdict, ...this.#hold(frame) };
    this.#watch?.count(frame);
    return { verdict, counted: [frame], refused: [] };
  }

  /**
   * One of the frames that the others are to be held against, before any is added: those of a stored series are taken
   * from all of it, so that a cloud at its beginning is no measure of the rest.
   */
  addReference(pixelsAdu: Uint16Array): void {
    this.#holdOne(this.#see(pixelsAdu));
  }

  /** The last reference has been added. @returns whether at least two of them are alike */
  finishReference(): boolean {
    const { uniform } = this.#judge(this.#held.splice(0));
    this.#usualScale = medianInPlace(
      mapInto(new Float64Array(uniform.length), uniform, ({ scale }) => scale),
    );
    this.#seen = 0;
    return this.#noise !== undefined;
  }

  /** No more frames will come: those that still wait are compared if they are two or more. */
  finish(): Omit<Selected, "verdict"> {
    this.#isFinished = true;
    this.#watch?.finish();
    return !this.#noise && this.#held.length >= 2 ? this.#compare() : { counted: [], refused: [] };
  }

  #see(pixels: Uint16Array): MeasuredFrame {
    const { kind, shape, dark, unhealthyPx, frameCountExpected } = this.#options;
    const index = this.#seen++;
    if (kind === "dark")
      return { index, pixels, scale: 1, blockSums: noSums, cellSums: noSums, samples: new Uint16Array(0) };
    const [darkAdu, clipAdu] = [dark?.meanAdu, this.#clipAdu];
    this.#watch ??= new FrameWatch(pixels, { shape, darkAdu, unhealthyPx, clipAdu, frameCountExpected });
    return { index, ...this.#watch.see(pixels) };
  }

  #reasonToRefuse(frame: MeasuredFrame): RefusalReason | undefined {
    if (!this.#levelIsSteady(frame.scale)) return "level jumped";
    return this.#watch?.hasUniformLight(frame) === false ? "uneven cloud" : undefined;
  }

  /** Against the median of the last few, so that a slowly sinking Sun is no jump. */
  #levelIsSteady(scale: number): boolean {
    const last = this.#scales.slice(-9);
    const usual = last.length === 0 ? this.#usualScale : medianInPlace(new Float64Array(last));
    if (usual === undefined) return true;
    return Math.abs(scale / usual - 1) <= (this.#options.scaleTolerance ?? 0.05);
  }

  #holdOne(frame: MeasuredFrame): void {
    this.#noiseSample ??= new PixelSample(healthyPx(this.#options, noisePx), this.#options.dark?.meanAdu);
    this.#held.push({ frame, noiseAdu: this.#noiseSample.of(frame.pixels) });
  }

  #hold(frame: MeasuredFrame): Omit<Selected, "verdict"> {
    this.#holdOne(frame);
    return this.#held.length === referenceFrames ? this.#compare() : { counted: [], refused: [] };
  }

  /** The first frames with each other: only now is there something that they could be uneven against. */
  #compare(): Omit<Selected, "verdict"> {
    const { uniform, uneven } = this.#judge(this.#held.splice(0));
    const refused = uneven.map((frame) => ({ frame, reason: "uneven cloud" as const }));
    this.#refused += refused.length;
    this.#scales.length = 0;
    if (!this.#noise) return { counted: [], refused };
    for (const frame of uniform) {
      this.#scales.push(frame.scale);
      this.#watch?.count(frame);
    }
    return { counted: uniform, refused };
  }

  /** Frames with each other; two that are alike are what the next ones are held against. */
  #judge(held: readonly HeldFrame[]): {
    readonly uniform: readonly MeasuredFrame[];
    readonly uneven: readonly MeasuredFrame[];
  } {
    const noise = this.#noiseAmong(held);
    const frames = held.map(({ frame }) => frame);
    this.#watch?.compareWith(frames, noise);
    const even = held.filter(({ frame }) => this.#watch?.hasUniformLight(frame) !== false);
    const uniform = even.map(({ frame }) => frame);
    const uneven = frames.filter((frame) => !uniform.includes(frame));
    if (even.length < 2) return { uniform, uneven };
    this.#noise = uneven.length === 0 ? noise : this.#noiseAmong(even);
    // What fell out is no part of what later frames are held against, nor of the noise that is expected.
    if (uneven.length > 0) this.#watch?.compareWith(uniform, this.#noise);
    return { uniform, uneven };
  }

  #noiseAmong(held: readonly HeldFrame[]): NoiseByLevel {
    const few = held.map(({ frame, noiseAdu }) => ({ pixels: noiseAdu, scale: frame.scale }));
    const { medians, variances } = measureFirstFrames(few, this.#noiseSample!.darkAdu, this.#clipAdu);
    return noiseByLevel(new Float64Array(medians), new Float64Array(variances), held.length - 1);
  }
}

/** Healthy pixels spread over the frame, at most so many. */
export function healthyPx(
  { shape, unhealthyPx }: Pick<SeriesOptions, "shape" | "unhealthyPx">,
  countMax: number,
): Uint32Array {
  return spreadPx(shape.widthPx * shape.heightPx, countMax, (px) => unhealthyPx?.[px] !== 1);
}
