import { medianInPlace } from "../numerics/order-statistics.ts";
import { checkShape } from "../numerics/shape.ts";
import { type ColourLevels, colourPlace } from "./colour-levels.ts";
import { dividedPixel, type FlatDivision, makeFlatDivision, roundedCount } from "./flat-division.ts";
import { maskBits } from "./mask-bits.ts";
import type { Flat } from "./normalise-flat.ts";

export interface FlatOptions {
  /** Taken off before the division [adu], per pixel. */
  readonly darkAdu?: Float32Array | undefined;
  /** The flat is divided by this, over trusted pixels, or by that level, so that the image keeps its own. Default `mean`. */
  readonly keepLevel?: "mean" | "median" | number;
  /** Instead: a level for each colour of a colour filter array. Masked pixels are filled from those of their colour. */
  readonly colourLevels?: ColourLevels | undefined;
}

export interface ApplyOptions {
  /** Put back after the division, so that a uint16 result keeps its floor [adu]. Default 0. */
  readonly pedestalAdu?: number;
}

export interface AppliedCounts {
  /** Pixels that the mask named and their neighbours filled. */
  readonly mendedPx: number;
  /** Masked pixels with no trusted neighbour near: left as they were, undivided. */
  readonly leftPx: number;
  /** Values outside 0 … 65535 (uint16 results only). */
  readonly clampedPx: number;
}

/** Flat and dark made ready to be applied to many images: the factor per pixel, and the pixels to mend. */
export interface FlatFactors {
  readonly flat: Flat;
  /** Of the flat, that the image keeps. */
  readonly level: number;
  /** The dark-subtracted image is multiplied by its factor, which is 1 where masked. */
  readonly division: FlatDivision;
  /** Hot, dead, clipped or mostly rejected; unlit ones are not mended but left undivided. */
  readonly mendPx: Uint32Array;
  readonly unlitPx: number;
  /** To the next pixel that sees the same colour. */
  readonly neighbourStepPx: 1 | 2;
}

export function prepareFlat(flat: Flat, options: FlatOptions = {}): FlatFactors {
  const { darkAdu, keepLevel = "mean", colourLevels } = options;
  checkShape(flat.gain, flat.shape);
  if (darkAdu) checkShape(darkAdu, flat.shape);
  const level = levelKept(flat, keepLevel);
  const { widthPx } = flat.shape;
  const levelOf = (px: number) =>
    colourLevels ? colourLevels[colourPlace(px % widthPx, Math.floor(px / widthPx))] : level;
  const division = makeFlatDivision(flat.gain.length, darkAdu !== undefined);
  if (darkAdu) division.darkAdu?.set(darkAdu);
  const { factor } = division;
  const mend: number[] = [];
  let unlitPx = 0;
  for (let i = 0; i < factor.length; i++) {
    const mask = flat.mask[i]!;
    const gain = flat.gain[i]!;
    factor[i] = mask === 0 && gain > 0 ? levelOf(i) / gain : 1;
    if (mask & maskBits.unlit) unlitPx++;
    else if (mask !== 0 || !(gain > 0)) mend.push(i);
  }
  const neighbourStepPx = colourLevels ? 2 : 1;
  return { flat, level, division, mendPx: new Uint32Array(mend), unlitPx, neighbourStepPx };
}

function levelKept(flat: Flat, keepLevel: "mean" | "median" | number): number {
  if (typeof keepLevel === "number") return keepLevel;
  return keepLevel === "mean" ? meanOfTrusted(flat) : medianOfTrusted(flat);
}

/**
 * The calibrated image as float32 [adu]. `imageAdu` is raw, of the flat's shape.
 * @param result where it goes: many images can share one
 */
export function applyToFloat32(
  imageAdu: Uint16Array,
  factors: FlatFactors,
  options: ApplyOptions = {},
  result = new Float32Array(imageAdu.length),
): { imageAdu: Float32Array; counts: AppliedCounts } {
  checkShape(imageAdu, factors.flat.shape);
  factors.division.divide(imageAdu, options.pedestalAdu ?? 0, result);
  return mendFloats(result, factors);
}

/** The same from an image that is already float32 (a stack, or another program's calibrated light). */
export function applyToFloatImage(
  image: Float32Array,
  factors: FlatFactors,
  options: ApplyOptions = {},
  result = new Float32Array(image.length),
): { imageAdu: Float32Array; counts: AppliedCounts } {
  checkShape(image, factors.flat.shape);
  const { factor, darkAdu: dark } = factors.division;
  const pedestal = options.pedestalAdu ?? 0;
  if (dark)
    for (let i = 0; i < result.length; i++) result[i] = (image[i]! - dark[i]!) * factor[i]! + pedestal;
  else for (let i = 0; i < result.length; i++) result[i] = image[i]! * factor[i]! + pedestal;
  return mendFloats(result, factors);
}

function mendFloats(
  imageAdu: Float32Array,
  factors: FlatFactors,
): { imageAdu: Float32Array; counts: AppliedCounts } {
  const filled = fillMaskedPixels(factors, (px) => imageAdu[px]!);
  for (const [k, px] of factors.mendPx.entries()) imageAdu[px] = filled.values[k]!;
  return { imageAdu, counts: { ...filled.counts, clampedPx: 0 } };
}

/** The calibrated image as uint16, rounded to nearest and held within 0 … 65535. */
export function applyToUint16(
  imageAdu: Uint16Array,
  factors: FlatFactors,
  options: ApplyOptions = {},
  result = new Uint16Array(imageAdu.length),
): { imageAdu: Uint16Array; counts: AppliedCounts } {
  checkShape(imageAdu, factors.flat.shape);
  const pedestal = options.pedestalAdu ?? 0;
  let clampedPx = factors.division.divideToCounts(imageAdu, pedestal, result);
  const valueAt = (px: number) => dividedPixel(imageAdu[px]!, px, factors.division, pedestal);
  const filled = fillMaskedPixels(factors, valueAt);
  for (const [k, px] of factors.mendPx.entries()) {
    if (roundedCount(valueAt(px)).clamped) clampedPx--;
    const { count, clamped } = roundedCount(filled.values[k]!);
    result[px] = count;
    if (clamped) clampedPx++;
  }
  return { imageAdu: result, counts: { ...filled.counts, clampedPx } };
}

/** Median of the trusted pixels in the 3 x 3, then 5 x 5, then 7 x 7 neighbourhood; of one colour where there are colours. */
export function fillMaskedPixels(
  factors: FlatFactors,
  valueAt: (px: number) => number,
): { values: Float32Array; counts: { mendedPx: number; leftPx: number } } {
  const { widthPx, heightPx } = factors.flat.shape;
  const { mask } = factors.flat;
  const step = factors.neighbourStepPx;
  const around = new Float64Array(49);
  const filled = new Float32Array(factors.mendPx.length);
  let leftPx = 0;
  for (let k = 0; k < factors.mendPx.length; k++) {
    const i = factors.mendPx[k]!;
    const x = i % widthPx;
    const y = (i - x) / widthPx;
    let count = 0;
    for (let reach = 1; reach <= 3 && count < 3; reach++) {
      count = 0;
      for (let v = y - reach * step; v <= y + reach * step; v += step)
        for (let u = x - reach * step; u <= x + reach * step; u += step) {
          const j = v * widthPx + u;
          if (v >= 0 && v < heightPx && u >= 0 && u < widthPx && mask[j] === 0) around[count++] = valueAt(j);
        }
    }
    if (count === 0) leftPx++;
    filled[k] = count === 0 ? valueAt(i) : medianInPlace(around, count)!;
  }
  return { values: filled, counts: { mendedPx: factors.mendPx.length - leftPx, leftPx } };
}

function meanOfTrusted(flat: Flat): number {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < flat.gain.length; i++) {
    if (flat.mask[i] === 0) {
      sum += flat.gain[i]!;
      count++;
    }
  }
  return count === 0 ? 1 : sum / count;
}

function medianOfTrusted(flat: Flat): number {
  const values = new Float64Array(flat.gain.length);
  let count = 0;
  for (let i = 0; i < values.length; i++) if (flat.mask[i] === 0) values[count++] = flat.gain[i]!;
  return medianInPlace(values, count) ?? 1;
}
