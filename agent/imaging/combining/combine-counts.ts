import { compiledKernel } from "../kernels/compile-kernel.ts";
import type { CommonNoise } from "./common-noise.ts";
import { isFew, sigmaOfMad } from "./few-frames.ts";

export interface CountStackShape {
  readonly frameCount: number;
  /** Most pixels of a frame that are combined at once. */
  readonly tilePx: number;
  /** `fits`: big-endian and signed, as a file stores 16 bits; `native`: unsigned, as an array holds them. */
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
  combine(...numbers: number[]): void;
  rejectedValues(): number;
  maskedPixels(): number;
}

const methods = { mean: 0, clipped: 1, median: 2 } as const;
const pageBytes = 65536;
/** What one gathering of all frames fills: small enough for the innermost cache. */
const gatheredBytes = 4096;
/** Kernels take eight pixels at once and may run past the end. */
const slackBytes = 64;

/**
 * `combineFrames` for 16-bit counts, by SIMD: sums are whole numbers, hence exact, and results rounded once.
 * All frames of a tile lie in one memory.
 */
export class CountCombiner {
  readonly #kernel: Exports;
  readonly #memory: WebAssembly.Memory;
  readonly #at: Readonly<
    Record<"lanes" | "value" | "sigma" | "mask" | "dark" | "darkSigma" | "gathered" | "frames", number>
  >;
  readonly #strideBytes: number;
  readonly #columnPx: number;

  /** @returns `undefined` where the kernels cannot be built */
  static make(shape: CountStackShape): CountCombiner | undefined {
    const module = compiledKernel("combine-counts");
    return module === undefined ? undefined : new CountCombiner(module, shape);
  }

  private constructor(
    module: WebAssembly.Module,
    readonly shape: CountStackShape,
  ) {
    const { frameCount, tilePx } = shape;
    if (frameCount < 1 || frameCount > 65535) throw new RangeError("a stack has 1 to 65535 frames");
    this.#columnPx = Math.max(32, Math.min(512, Math.floor(gatheredBytes / (16 * frameCount)) * 8));
    // An odd number of cache lines, so that the frames do not all fall into the same place of the cache.
    this.#strideBytes = (Math.ceil((2 * tilePx + slackBytes) / 64) | 1) * 64;
    let free = 64;
    const take = (length: number) => {
      const address = free;
      free += Math.ceil((length + slackBytes) / 64) * 64;
      return address;
    };
    this.#at = {
      lanes: take(432),
      value: take(4 * tilePx),
      sigma: take(4 * tilePx),
      mask: take(tilePx),
      dark: take(4 * tilePx),
      darkSigma: take(4 * tilePx),
      gathered: take((this.#columnPx / 8) * (16 * frameCount + 16)),
      frames: take(frameCount * this.#strideBytes),
    };
    this.#memory = new WebAssembly.Memory({ initial: Math.ceil(free / pageBytes) });
    const { exports } = new WebAssembly.Instance(module, { env: { memory: this.#memory } });
    this.#kernel = exports as unknown as Exports;
  }

  /** Where a frame's pixels of the tile belong, as they are stored. */
  frame(frameIndex: number, pxCount: number): Uint8Array<ArrayBuffer> {
    const start = this.#at.frames + frameIndex * this.#strideBytes;
    return new Uint8Array(this.#memory.buffer as ArrayBuffer, start, 2 * pxCount);
  }

  /** Combines what lies in the frames. @param mask what is known of the pixels before */
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
    this.#kernel.combine(
      at.frames,
      this.#strideBytes,
      frameCount,
      pxCount,
      stored === "fits" ? 1 : 0,
      methods[options.method],
      options.sigmas,
      options.zeroAdu,
      options.medianNoise,
      Math.min(32768, Math.ceil(options.clipAdu - options.zeroAdu)),
      clipsFew ? sigmaOfMad(frameCount) : 0,
      noise?.varianceAdu2 ?? 0,
      noise?.slopeAdu ?? 0,
      (noise?.levelAdu ?? 0) - options.zeroAdu,
      this.#columnPx,
      at.gathered,
      at.lanes,
      at.value,
      at.sigma,
      at.mask,
      this.#place(options.darkAdu, at.dark, pxCount),
      this.#place(options.darkSigmaAdu, at.darkSigma, pxCount),
    );
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
