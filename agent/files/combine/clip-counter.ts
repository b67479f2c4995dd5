import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { clippedFramesMost } from "../../imaging/combining/master-mask.ts";
import { clipLevelOf } from "./clip-level.ts";

/** Counts, tile by tile, in how many frames a pixel was clipped. Only uint16 files are looked at. */
export class ClipCounter {
  readonly clipAdu: number;
  #counts = new Uint16Array(0);

  readonly frameCount: number;

  constructor(images: readonly FitsFileImage[]) {
    this.frameCount = images.length;
    this.clipAdu = clipLevelOf(images);
  }

  count(pixels: FitsPixels): void {
    if (!(pixels instanceof Uint16Array)) return;
    if (this.#counts.length < pixels.length) this.#counts = new Uint16Array(pixels.length);
    countAtOrAbove(pixels, this.clipAdu, this.#counts);
  }

  /** The mask of the tile being read; counting starts at 0 for the next. */
  takeMask(length: number): Uint8Array {
    const mask = new Uint8Array(length);
    const most = clippedFramesMost(this.frameCount);
    for (let i = 0; i < Math.min(length, this.#counts.length); i++)
      if (this.#counts[i]! > most) mask[i] = maskBits.clipped;
    this.#counts.fill(0);
    return mask;
  }
}

function countAtOrAbove(pixels: Uint16Array, level: number, counts: Uint16Array): void {
  for (let i = 0; i < pixels.length; i++) if (pixels[i]! >= level) counts[i]!++;
}
