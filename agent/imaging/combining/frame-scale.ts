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
 * Up to `countMax` lit, healthy pixels spread evenly over a picture.
 * Lit: above 20 % of the median of the brighter half.
 */
export function sampleLitPx(
  levelAdu: Float32Array,
  unhealthyPx: Uint8Array | undefined,
  countMax: number,
): { samplePx: Uint32Array; litFromAdu: number } {
  const stride = Math.max(1, Math.floor(levelAdu.length / 50_021)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < levelAdu.length; i += stride) sample.push(levelAdu[i]!);
  sample.sort((a, b) => a - b);
  const litFromAdu = 0.2 * (sample[Math.floor(sample.length * 0.75)] ?? 0);
  let lit = 0;
  const usable = (i: number) =>
    levelAdu[i]! > litFromAdu && (unhealthyPx === undefined || unhealthyPx[i] === 0);
  for (let i = 0; i < levelAdu.length; i++) if (usable(i)) lit++;
  const every = Math.max(1, Math.ceil(lit / countMax));
  const samplePx = new Uint32Array(Math.ceil(lit / every));
  let seen = 0;
  let count = 0;
  for (let i = 0; i < levelAdu.length; i++) if (usable(i) && seen++ % every === 0) samplePx[count++] = i;
  return { samplePx: samplePx.subarray(0, count), litFromAdu };
}
