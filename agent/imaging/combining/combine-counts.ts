import { f32, type Kernel, layout, lineBytes, startKernel, u8 } from "../../../drivers/kit/kernels/host.ts";
import type { CommonNoise } from "./common-noise.ts";
import { isSmallSample, sigmaOfMad } from "./few-frames.ts";

export interface CountStackShape {
  readonly frameCount: number;
  /** Most pixels of a frame that are combined at once. */
  readonly tilePx: number;
}

export interface CountCombineOptions {
  /** As in `combineFrames`. */
  readonly method: "mean" | "clipped" | "median";
  readonly sigmas: number;
  /** Needed to clip few frames. */
  readonly noise?: CommonNoise | undefined;
  /** Value of a stored zero [adu]: 32768 for unsigned counts. */
  readonly zeroAdu: number;
  /** Noise of a median of so many values over that of their mean. */
  readonly medianNoise: number;
  /** A value at or above it is clipped [adu]. */
  readonly clipAdu: number;
  /** Taken off; its noise enters. At least as long as the tile. */
  readonly darkAdu?: Float32Array | undefined;
  readonly darkSigmaAdu?: Float32Array | undefined;
}

/** The arrays are used again for the next tile. */
export interface CountTile {
  readonly value: Float32Array;
  /** One sigma of the value; NaN where one value was left. */
  readonly sigma: Float32Array;
  /** What was there already, and its own `maskBits`. */
  readonly mask: Uint8Array;
  readonly rejected: number;
  readonly maskedPx: number;
}

const methods = { mean: 0, clipped: 1, median: 2 } as const;
/** What the frames fill that are handed over at once: small enough for the second cache. */
const handedBytes = 256 << 10;

/**
 * `combineFrames` for 16-bit counts, by SIMD: sums are whole numbers, hence exact, and results rounded once. Frames come as
 * FITS stores them, a few at a time: what was read is still in the cache when it is put into columns.
 */
export class CountCombiner {
  /** How many frames have room at once: a multiple of eight, or all. */
  readonly framesAtOnce: number;
  readonly #kernel: Kernel<"combine-counts">;
  readonly #room: ReturnType<typeof roomFor>;
  readonly #wholeFrames: readonly Uint8Array<ArrayBuffer>[];

  constructor(readonly shape: CountStackShape) {
    const { frameCount, tilePx } = shape;
    if (frameCount < 1 || frameCount > 65535) throw new RangeError("a stack has 1 to 65535 frames");
    const fewFrames = Math.max(8, Math.min(64, Math.floor(handedBytes / (16 * tilePx)) * 8));
    this.framesAtOnce = Math.min(frameCount, fewFrames);
    this.#room = roomFor(shape, this.framesAtOnce);
    this.#kernel = startKernel("combine-counts", this.#room.memory);
    this.#wholeFrames = Array.from({ length: this.framesAtOnce }, (_, place) => this.#frame(place, tilePx));
  }

  /** Where a frame's pixels of the tile belong, as they are stored. @param place below `framesAtOnce` */
  frame(place: number, pxCount: number): Uint8Array<ArrayBuffer> {
    return pxCount === this.shape.tilePx ? this.#wholeFrames[place]! : this.#frame(place, pxCount);
  }

  #frame(place: number, pxCount: number): Uint8Array<ArrayBuffer> {
    const { views, strideBytes } = this.#room;
    return views.frames.subarray(place * strideBytes, place * strideBytes + 2 * pxCount);
  }

  /** Takes over the frames at the first `frameCount` places. Each frame once, before the tile is combined. */
  gather(firstFrame: number, frameCount: number, pxCount: number): void {
    const { at, strideBytes, columnBytes } = this.#room;
    const to = at.columns + 16 * firstFrame;
    this.#kernel.gather({ from: at.frames, strideBytes, frameCount, pxCount, to, columnBytes });
  }

  /** Combines the frames that were gathered. @param known what is known of the pixels before */
  combine(pxCount: number, options: CountCombineOptions, known?: Uint8Array): CountTile {
    const { frameCount, tilePx } = this.shape;
    if (pxCount > tilePx) throw new RangeError("more pixels than the tile holds");
    const { noise, zeroAdu } = options;
    const clipsFew = options.method === "clipped" && isSmallSample(frameCount);
    if (clipsFew && noise === undefined) throw new RangeError("few frames are clipped by their common noise");
    const { at, views, columnBytes } = this.#room;
    const mask = views.mask.subarray(0, pxCount);
    mask.fill(0);
    if (known) mask.set(known.subarray(0, pxCount));
    const { darkAdu, darkSigmaAdu } = options;
    if (darkAdu) views.dark.set(darkAdu.subarray(0, pxCount));
    if (darkSigmaAdu) views.darkSigma.set(darkSigmaAdu.subarray(0, pxCount));
    this.#kernel.begin({
      frameCount,
      how: methods[options.method],
      reach: options.sigmas,
      zeroAdu,
      medianNoise: options.medianNoise,
      clipLeast: Math.min(32768, Math.ceil(options.clipAdu - zeroAdu)),
      madSigma: clipsFew ? sigmaOfMad(frameCount) : 0,
      variance: noise?.varianceAdu2 ?? 0,
      slope: noise?.slopeAdu ?? 0,
      level: (noise?.levelAdu ?? 0) - zeroAdu,
      lanesAt: at.lanes,
      packedAt: at.packed,
      valueAt: at.value,
      sigmaAt: at.sigma,
      maskAt: at.mask,
      darkAt: darkAdu ? at.dark : 0,
      darkSigmaAt: darkSigmaAdu ? at.darkSigma : 0,
    });
    this.#kernel.combineColumns(at.columns, columnBytes, 0, pxCount);
    return {
      value: views.value.subarray(0, pxCount),
      sigma: views.sigma.subarray(0, pxCount),
      mask,
      rejected: this.#kernel.rejectedValues(),
      maskedPx: this.#kernel.maskedPixels(),
    };
  }
}

function roomFor({ frameCount, tilePx }: CountStackShape, framesAtOnce: number) {
  // An odd number of cache lines, so that the frames do not all fall into the same place of the cache.
  const strideBytes = (Math.ceil((2 * tilePx + lineBytes) / lineBytes) | 1) * lineBytes;
  const columnBytes = 16 * frameCount + 16;
  const room = layout({
    lanes: u8(432),
    packed: u8(8 * frameCount + 8),
    value: f32(tilePx),
    sigma: f32(tilePx),
    mask: u8(tilePx),
    dark: f32(tilePx),
    darkSigma: f32(tilePx),
    columns: u8(Math.ceil(tilePx / 8) * columnBytes),
    frames: u8(framesAtOnce * strideBytes),
  });
  return { ...room, strideBytes, columnBytes };
}
