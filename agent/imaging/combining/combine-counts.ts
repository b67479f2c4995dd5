import { compiledKernel } from "../kernels/compile-kernel.ts";
import type { CommonNoise } from "./common-noise.ts";
import { isFew, sigmaOfMad } from "./few-frames.ts";

export interface CountStackShape {
  readonly frameCount: number;
  /** Most pixels of a frame that are combined at once. */
  readonly tilePx: number;
  /**
   * `fits`: big-endian and signed, as a file stores 16 bits, and a few frames at a time: what was read is still in the
   * cache when it is put into columns. `native`: unsigned, as an array holds them, and all frames at once.
   */
  readonly stored: "fits" | "native";
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

interface Exports {
  begin(...numbers: number[]): void;
  gather(...numbers: number[]): void;
  combineFrames(...numbers: number[]): void;
  combineColumns(...numbers: number[]): void;
  rejectedValues(): number;
  maskedPixels(): number;
}

const methods = { mean: 0, clipped: 1, median: 2 } as const;
const pageBytes = 65536;
/** What one gathering of frames in memory fills: small enough for the innermost cache. */
const gatheredBytes = 4096;
/** What the frames fill that are handed over at once: small enough for the second cache. */
const handedBytes = 256 << 10;
/** Kernels take eight pixels at once and may run past the end. */
const slackBytes = 64;

/**
 * `combineFrames` for 16-bit counts, by SIMD: sums are whole numbers, hence exact, and results rounded once.
 * A tile of all frames lies in one memory.
 */
export class CountCombiner {
  /** How many frames have room at once: a multiple of eight, or all. */
  readonly framesAtOnce: number;
  readonly #kernel: Exports;
  readonly #memory: WebAssembly.Memory;
  readonly #at: Readonly<
    Record<
      "lanes" | "packed" | "value" | "sigma" | "mask" | "dark" | "darkSigma" | "columns" | "frames",
      number
    >
  >;
  readonly #strideBytes: number;
  readonly #columnBytes: number;
  /** Pixels that are gathered at once from frames in memory. */
  readonly #columnPx: number;
  readonly #wholeFrames: readonly Uint8Array<ArrayBuffer>[];

  /** @returns `undefined` where the kernels cannot be built */
  static make(shape: CountStackShape): CountCombiner | undefined {
    const module = compiledKernel("combine-counts");
    return module === undefined ? undefined : new CountCombiner(module, shape);
  }

  private constructor(
    module: WebAssembly.Module,
    readonly shape: CountStackShape,
  ) {
    const { frameCount, tilePx, stored } = shape;
    if (frameCount < 1 || frameCount > 65535) throw new RangeError("a stack has 1 to 65535 frames");
    const fewFrames = Math.max(8, Math.min(64, Math.floor(handedBytes / (16 * tilePx)) * 8));
    this.framesAtOnce = stored === "fits" ? Math.min(frameCount, fewFrames) : frameCount;
    this.#columnPx = Math.max(32, Math.min(512, Math.floor(gatheredBytes / (16 * frameCount)) * 8));
    const columnCount = Math.ceil((stored === "fits" ? tilePx : this.#columnPx) / 8);
    // An odd number of cache lines, so that the frames do not all fall into the same place of the cache.
    this.#strideBytes = (Math.ceil((2 * tilePx + slackBytes) / 64) | 1) * 64;
    this.#columnBytes = 16 * frameCount + 16;
    let free = 64;
    const take = (length: number) => {
      const address = free;
      free += Math.ceil((length + slackBytes) / 64) * 64;
      return address;
    };
    this.#at = {
      lanes: take(432),
      packed: take(8 * frameCount + 8),
      value: take(4 * tilePx),
      sigma: take(4 * tilePx),
      mask: take(tilePx),
      dark: take(4 * tilePx),
      darkSigma: take(4 * tilePx),
      columns: take(columnCount * this.#columnBytes),
      frames: take(this.framesAtOnce * this.#strideBytes),
    };
    this.#memory = new WebAssembly.Memory({ initial: Math.ceil(free / pageBytes) });
    const { exports } = new WebAssembly.Instance(module, { env: { memory: this.#memory } });
    this.#kernel = exports as unknown as Exports;
    this.#wholeFrames = Array.from({ length: this.framesAtOnce }, (_, place) => this.#frame(place, tilePx));
  }

  /** Where a frame's pixels of the tile belong, as they are stored. @param place below `framesAtOnce` */
  frame(place: number, pxCount: number): Uint8Array<ArrayBuffer> {
    return pxCount === this.shape.tilePx ? this.#wholeFrames[place]! : this.#frame(place, pxCount);
  }

  #frame(place: number, pxCount: number): Uint8Array<ArrayBuffer> {
    const start = this.#at.frames + place * this.#strideBytes;
    return new Uint8Array(this.#memory.buffer as ArrayBuffer, start, 2 * pxCount);
  }

  /**
   * Takes over frames of a stack that is stored as in FITS: those at the first `frameCount` places.
   * Each frame once, before the tile is combined.
   */
  gather(firstFrame: number, frameCount: number, pxCount: number): void {
    const to = this.#at.columns + 16 * firstFrame;
    this.#kernel.gather(this.#at.frames, this.#strideBytes, frameCount, pxCount, to, this.#columnBytes);
  }

  /** Combines the frames that were gathered, or that lie there. @param mask what is known of the pixels before */
  combine(pxCount: number, options: CountCombineOptions, mask?: Uint8Array): CountTile {
    const { frameCount, tilePx, stored } = this.shape;
    if (pxCount > tilePx) throw new RangeError("more pixels than the tile holds");
    const { noise } = options;
    const clipsFew = options.method === "clipped" && isFew(frameCount);
    if (clipsFew && noise === undefined) throw new RangeError("few frames are clipped by their common noise");
    const at = this.#at;
    const bytes = new Uint8Array(this.#memory.buffer, at.mask, pxCount);
    bytes.fill(0);
    if (mask) bytes.set(mask.subarray(0, pxCount));
    this.#kernel.begin(
      frameCount,
      methods[options.method],
      options.sigmas,
      options.zeroAdu,
      options.medianNoise,
      Math.min(32768, Math.ceil(options.clipAdu - options.zeroAdu)),
      clipsFew ? sigmaOfMad(frameCount) : 0,
      noise?.varianceAdu2 ?? 0,
      noise?.slopeAdu ?? 0,
      (noise?.levelAdu ?? 0) - options.zeroAdu,
      at.lanes,
      at.packed,
      at.value,
      at.sigma,
      at.mask,
      this.#place(options.darkAdu, at.dark, pxCount),
      this.#place(options.darkSigmaAdu, at.darkSigma, pxCount),
    );
    if (stored === "fits") this.#kernel.combineColumns(at.columns, this.#columnBytes, 0, pxCount);
    else this.#kernel.combineFrames(at.frames, this.#strideBytes, pxCount, this.#columnPx, at.columns);
    return {
      value: new Float32Array(this.#memory.buffer, at.value, pxCount),
      sigma: new Float32Array(this.#memory.buffer, at.sigma, pxCount),
      mask: bytes,
      rejected: this.#kernel.rejectedValues(),
      maskedPx: this.#kernel.maskedPixels(),
    };
  }

  #place(values: Float32Array | undefined, address: number, pxCount: number): number {
    if (values === undefined) return 0;
    new Float32Array(this.#memory.buffer, address, pxCount).set(values.subarray(0, pxCount));
    return address;
  }
}
