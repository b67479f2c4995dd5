import { FitsError } from "../../drivers/formats/fits-error.ts";
import type { FitsFileImage } from "../../drivers/formats/fits-file.ts";
import { asFitsCounts, decodePixels, type PixelLayout } from "../../drivers/formats/fits-pixels.ts";
import { readFully } from "../../drivers/formats/read-fully.ts";
import { usualClipSigmas } from "../imaging/combining/combine.ts";
import { CountCombiner, type CountTile } from "../imaging/combining/combine-counts.ts";
import type { CommonNoise } from "../imaging/combining/common-noise.ts";
import { medianNoise } from "../imaging/noise/median-noise.ts";

/** Where an open file keeps an image: plain data, so that another thread can read it too. */
export interface StoredImage {
  readonly path: string;
  readonly handle: number;
  readonly startBytes: number;
  readonly layout: PixelLayout;
}

/** Frames of 16-bit counts and the dark that comes off them. */
export interface StoredStack {
  readonly frames: readonly StoredImage[];
  readonly pxCount: number;
  readonly tilePx: number;
  readonly method: "mean" | "clipped" | "median";
  readonly clipAdu: number;
  /** Needed to clip few frames. */
  readonly noise?: CommonNoise;
  readonly dark?: StoredImage;
  readonly darkSigma?: StoredImage;
  readonly darkMask?: StoredImage;
}

export function storedImage(image: FitsFileImage): StoredImage {
  const { path, handle, startBytes, layout } = image;
  return { path, handle, startBytes, layout };
}

/** All frames of a tile together, per thread [bytes]: what a master of a thousand frames may take of the memory. */
const tileBytes = 12 << 20;
const tilePxMost = 16384;

export function tilePxFor(frameCount: number, pxCount: number): number {
  const fitting = Math.floor(tileBytes / (2 * frameCount) / 64) * 64;
  return Math.min(pxCount, Math.max(64, Math.min(tilePxMost, fitting)));
}

export function tileCountOf(stack: StoredStack): number {
  return Math.ceil(stack.pxCount / stack.tilePx);
}

export type TilePixels = Pick<CountTile, "value" | "sigma" | "mask">;

/** Room for a tile that one thread makes and another writes. */
export function newSharedTile(tilePx: number): TilePixels {
  return {
    value: new Float32Array(new SharedArrayBuffer(4 * tilePx)),
    sigma: new Float32Array(new SharedArrayBuffer(4 * tilePx)),
    mask: new Uint8Array(new SharedArrayBuffer(tilePx)),
  };
}

/** Makes tiles of a stack of counts, each thread its own. */
export class TileMaker {
  readonly #combiner: CountCombiner;

  constructor(readonly stack: StoredStack) {
    this.#combiner = new CountCombiner({ frameCount: stack.frames.length, tilePx: stack.tilePx });
  }

  /** The arrays are used again for the next tile. @throws FitsError, and the file system's errors */
  make(tileIndex: number): CountTile {
    const { frames, pxCount, tilePx, method, clipAdu, noise, dark, darkSigma, darkMask } = this.stack;
    const startPx = tileIndex * tilePx;
    const length = Math.min(tilePx, pxCount - startPx);
    const { framesAtOnce } = this.#combiner;
    for (let first = 0; first < frames.length; first += framesAtOnce) {
      const count = Math.min(framesAtOnce, frames.length - first);
      for (let place = 0; place < count; place++) {
        const [frame, bytes] = [frames[first + place]!, this.#combiner.frame(place, length)];
        read(frame, startPx, bytes);
        asFitsCounts(bytes, frame.layout);
      }
      this.#combiner.gather(first, count, length);
    }
    const mask = darkMask && new Uint8Array(decode(darkMask, startPx, length));
    return this.#combiner.combine(
      length,
      {
        method,
        sigmas: usualClipSigmas,
        noise,
        zeroAdu: frames[0]!.layout.type === "uint16" ? 32768 : 0,
        medianNoise: method === "median" ? medianNoise(frames.length) : 1,
        clipAdu,
        darkAdu: dark && new Float32Array(decode(dark, startPx, length)),
        darkSigmaAdu: darkSigma && new Float32Array(decode(darkSigma, startPx, length)),
      },
      mask,
    );
  }

  /** The same in memory that threads share. @returns parts of those arrays */
  makeInto({ value, sigma, mask }: TilePixels, tileIndex: number): CountTile {
    const tile = this.make(tileIndex);
    value.set(tile.value);
    sigma.set(tile.sigma);
    mask.set(tile.mask);
    const { length } = tile.value;
    return {
      ...tile,
      value: value.subarray(0, length),
      sigma: sigma.subarray(0, length),
      mask: mask.subarray(0, length),
    };
  }
}

function decode(image: StoredImage, startPx: number, pxCount: number) {
  const raw = new Uint8Array(pxCount * image.layout.bytesPerPixel);
  read(image, startPx, raw);
  return decodePixels(raw, image.layout);
}

function read(image: StoredImage, startPx: number, into: Uint8Array): void {
  const from = image.startBytes + startPx * image.layout.bytesPerPixel;
  if (readFully(image.handle, into, from) < into.length)
    throw new FitsError(`${image.path}: became shorter while it was read`);
}
