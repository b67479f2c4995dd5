import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import { clipLevelAdu, isConverterTop } from "../../imaging/exposure/converter-codes.ts";
import { explainFileErrors } from "../input-error.ts";

/** Where nothing is seen to be clipped. */
const highestCode = 65_535;
const pixelsAtOnce = 1_000_000;

/**
 * The code at which frames of unsigned 16-bit counts are clipped [adu], looked for in all of them: light may rise in the
 * course of a series. Frames of other types have none.
 */
export function clipLevelOf(images: readonly FitsFileImage[]): number {
  const codes = new Uint32Array(65_536);
  let allPx = 0;
  for (const image of images) {
    if (image.layout.type !== "uint16") continue;
    const rowsAtOnce = Math.max(1, Math.floor(pixelsAtOnce / image.widthPx));
    explainFileErrors(image.path, () => {
      for (let row = 0; row < image.rowCount; row += rowsAtOnce)
        countInto(image.readRows(row, Math.min(rowsAtOnce, image.rowCount - row)) as Uint16Array, codes);
    });
    allPx += image.rowCount * image.widthPx;
  }
  const level = clipLevelAdu(codes);
  if (level === undefined) return highestCode;
  let atOrAbove = 0;
  for (let code = level; code < codes.length; code++) atOrAbove += codes[code]!;
  // Frames that are one level nearly everywhere pile up there without being clipped, unless it is a converter's top.
  return 2 * atOrAbove < allPx || isConverterTop(level) ? level : highestCode;
}

function countInto(pixels: Uint16Array, codes: Uint32Array): void {
  for (let i = 0; i < pixels.length; i++) codes[pixels[i]!]!++;
}
