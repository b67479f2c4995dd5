import type { Card } from "../../../drivers/formats/fits-card.ts";
import type { FitsFileImage } from "../../../drivers/formats/fits-file.ts";
import type { FitsPixels } from "../../../drivers/formats/fits-pixels.ts";
import { encodeFits, type HduToWrite } from "../../../drivers/formats/fits-write.ts";
import { maskBits } from "../../imaging/combining/mask-bits.ts";
import { clipLevelAdu, isConverterTop } from "../../imaging/exposure/converter-codes.ts";
import { countCodes } from "../../imaging/exposure/histogram.ts";

/** Pixels of an image that are as bright as the camera can tell: what they would have been is not known. */
export interface Saturation {
  readonly levelAdu: number;
  readonly px: number;
  /** `maskBits.clipped` where a pixel is. */
  readonly mask: Uint8Array;
}

/** One pixel in so many shows a pile at the level where a sensor is full below its converter's top. */
const sampleEvery = 37;

/**
 * @param mostAdu the highest of the pixels
 * @param captured counts as captured: one of them, and all
 * @returns `undefined` when none is saturated
 */
export function findSaturation(
  { header, layout }: Pick<FitsFileImage, "header" | "layout">,
  mostAdu: number,
  captured: { readonly count: number; at(px: number): number; all(): FitsPixels },
): Saturation | undefined {
  const isTop = layout.type === "uint8" ? mostAdu === 255 : isConverterTop(mostAdu);
  const levelAdu = header.number("SATURATE") ?? (isTop ? mostAdu : undefined);
  if (levelAdu !== undefined) return mostAdu < levelAdu ? undefined : markFrom(captured.all(), levelAdu);
  if (layout.type !== "uint16") return undefined;
  const sample = new Uint16Array(Math.floor(captured.count / sampleEvery));
  for (let k = 0; k < sample.length; k++) sample[k] = captured.at(k * sampleEvery);
  const pile = clipLevelAdu(countCodes(sample));
  return pile === undefined ? undefined : markFrom(captured.all(), pile);
}

function markFrom(pixels: FitsPixels, levelAdu: number): Saturation {
  const mask = new Uint8Array(pixels.length);
  let px = 0;
  for (let i = 0; i < mask.length; i++)
    if (pixels[i]! >= levelAdu) {
      mask[i] = maskBits.clipped;
      px++;
    }
  return { levelAdu, px, mask };
}

export function saturationCards({ levelAdu, px }: Saturation): Card[] {
  return [
    { keyword: "SATURATE", value: levelAdu, comment: "[adu] as captured, from here on saturated" },
    { keyword: "SATURATD", value: px, comment: "saturated pixels, marked in MASK" },
    { keyword: "HISTORY", value: `evenfield apply: ${px} saturated pixels are marked in MASK` },
  ];
}

/** The MASK extension: 0 is a pixel to be trusted. */
export function saturationHdu({ mask }: Saturation, shape: readonly number[]): HduToWrite {
  const cards: Card[] = [
    { keyword: "COMMENT", value: "0: a pixel to be trusted" },
    { keyword: "COMMENT", value: `${maskBits.clipped}: saturated in the image as captured` },
  ];
  return { pixels: mask, shape, name: "MASK", cards };
}

/** The same as bytes behind a primary HDU. */
export function saturationExtension(
  saturation: Saturation,
  shape: readonly number[],
  writtenUtcMs: number,
): Uint8Array {
  const whole = encodeFits([{}, saturationHdu(saturation, shape)], writtenUtcMs);
  return whole.subarray(encodeFits([{}], writtenUtcMs).length);
}
