import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { clipLevelAdu } from "../../imaging/exposure/converter-codes.ts";

/** Counts, tile by tile, in how many frames a pixel was clipped. Only uint16 files are looked at. */
export class ClipCounter {
  readonly clipAdu: number;
  #counts = new Uint16Array(0);

  constructor(
    first: FitsFileImage,
    readonly frameCount: number,
  ) {
    this.clipAdu = (first.layout.type === "uint16" ? clipLevelOf(first) : undefined) ?? 65535;
  }

  count(pixels: FitsPixels): void {
    if (!(pixels instanceof Uint16Array)) return;
    if (this.#counts.length < pixels.length) this.#counts = new Uint16Array(pixels.length);
    countAtOrAbove(pixels, this.clipAdu, this.#counts);
  }

  /** The mask of the tile being read; counting starts at 0 for the next. */
  takeMask(length: number): Uint8Array {
    const mask = new Uint8Array(length);
    const most = Math.floor(this.frameCount / 50);
    for (let i = 0; i < Math.min(length, this.#counts.length); i++)
      if (this.#counts[i]! > most) mask[i] = maskBits.clipped;
    this.#counts.fill(0);
    return mask;
  }
}

function countAtOrAbove(pixels: Uint16Array, level: number, counts: Uint16Array): void {
  for (let i = 0; i < pixels.length; i++) if (pixels[i]! >= level) counts[i]!++;
}

function clipLevelOf(image: FitsFileImage): number | undefined {
  const codes = new Uint32Array(65536);
  const rowsAtOnce = Math.max(1, Math.floor(1_000_000 / image.widthPx));
  for (let row = 0; row < image.rowCount; row += rowsAtOnce) {
    countInto(image.readRows(row, Math.min(rowsAtOnce, image.rowCount - row)) as Uint16Array, codes);
  }
  const level = clipLevelAdu(codes);
  if (level === undefined) return undefined;
  let atOrAbove = 0;
  for (let code = level; code < codes.length; code++) atOrAbove += codes[code]!;
  // A frame that is one level nearly everywhere piles up there without being clipped.
  return 2 * atOrAbove < image.rowCount * image.widthPx ? level : undefined;
}

function countInto(pixels: Uint16Array, codes: Uint32Array): void {
  for (let i = 0; i < pixels.length; i++) codes[pixels[i]!]!++;
}
