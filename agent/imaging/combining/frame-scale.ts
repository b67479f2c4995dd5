import { fillInto } from "../numerics/map-into.ts";
import { medianInPlace } from "../numerics/order-statistics.ts";

/**
 * How much brighter a frame is than a reference: the median ratio over sample pixels.
 * Only a factor, no offset: after dark subtraction, transparency only scales.
 * @param samplePx indices of lit, healthy pixels
 * @param darkAdu subtracted from the frame, not from the reference
 * @returns 1 when there is nothing to compare
 */
export function medianRatio(
  frameAdu: Uint16Array,
  darkAdu: Float32Array,
  referenceAdu: Float32Array,
  samplePx: Uint32Array,
): number {
  const ratios = new Float64Array(samplePx.length);
  let count = 0;
  for (let k = 0; k < samplePx.length; k++) {
    const i = samplePx[k]!;
    const reference = referenceAdu[i]!;
    if (reference > 0) ratios[count++] = (frameAdu[i]! - darkAdu[i]!) / reference;
  }
  return medianInPlace(ratios, count) ?? 1;
}

/**
 * The same over blocks of pixels: of far less noise, and as little moved by a bright pixel, which is one of a block.
 * @param sums of the frame's blocks and of the reference's, dark taken off
 * @param ratios room for one a usable block
 */
export function medianBlockRatio(
  sums: Float64Array,
  reference: Float64Array,
  usable: readonly number[],
  ratios: Float64Array = new Float64Array(usable.length),
): number {
  for (let k = 0; k < usable.length; k++) ratios[k] = sums[usable[k]!]! / reference[usable[k]!]!;
  return medianInPlace(ratios) ?? 1;
}

/** Pixels looked at for a level, and most for the spread of those that are lit. */
const lookedAtPx = 50_021;

/** Light from here on is the field's: 20 % of the median of the brighter half. */
export function litThreshold(pxCount: number, levelAt: (px: number) => number): number {
  const stride = Math.max(1, Math.floor(pxCount / lookedAtPx)) | 1;
  const sample = new Float64Array(Math.ceil(pxCount / stride));
  for (let k = 0; k < sample.length; k++) sample[k] = levelAt(k * stride);
  sample.sort();
  return 0.2 * (sample[Math.floor(sample.length * 0.75)] ?? 0);
}

/** Up to `countMax` of the pixels that may be used, spread evenly over a picture. */
export function spreadPx(pxCount: number, countMax: number, usable: (px: number) => boolean): Uint32Array {
  // At first as if a quarter were usable; if it is far less, all pixels are looked at.
  for (const stride of [Math.max(1, Math.floor(pxCount / (4 * countMax))) | 1, 1]) {
    const found = new Uint32Array(Math.ceil(pxCount / stride));
    let count = 0;
    for (let px = 0; px < pxCount; px += stride) if (usable(px)) found[count++] = px;
    if (count < countMax / 4 && stride > 1) continue;
    const every = Math.max(1, Math.ceil(count / countMax));
    return fillInto(new Uint32Array(Math.ceil(count / every)), (k) => found[k * every]!);
  }
  return new Uint32Array(0);
}
