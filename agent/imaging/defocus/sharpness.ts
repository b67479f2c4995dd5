import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import type { Shape } from "../numerics/shape.ts";

/** Structure finer than the first and coarser than the second is what focus makes [px]. */
const band = { finePx: 1, coarsePx: 4 };

export interface Sharpness {
  /** Rms of what two frames show alike between the two scales, a share of the level. */
  readonly rms: number;
  readonly sigma: number;
}

/**
 * How sharp a picture is: rms of its fine structure that two frames have in common; noise, which they do not share,
 * is not in it.
 * @param first levels above the dark, any scale; `second` of the same, taken right after it
 * @param usePx 1 where a pixel counts
 */
export function measureSharpness(
  first: Float32Array,
  second: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
): Sharpness {
  const [a, b] = [fineStructure(first, usePx, shape), fineStructure(second, usePx, shape)];
  let [product, squares, count] = [0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    if (usePx[i] !== 1) continue;
    product += a[i]! * b[i]!;
    squares += (a[i]! * b[i]!) ** 2;
    count++;
  }
  const mean = product / Math.max(1, count);
  // Neighbours share their noise over about 4π σ² pixels.
  const independent = Math.max(1, count / (4 * Math.PI * band.finePx ** 2));
  const meanSigma = Math.sqrt(Math.max(0, squares / Math.max(1, count) - mean * mean) / independent);
  const rms = Math.sqrt(Math.max(0, mean));
  return { rms, sigma: rms > 0 ? meanSigma / (2 * rms) : Math.sqrt(meanSigma) };
}

function fineStructure(picture: Float32Array, usePx: Uint8Array, shape: Shape): Float32Array {
  let [sum, count] = [0, 0];
  for (let i = 0; i < picture.length; i++) {
    if (usePx[i] !== 1) continue;
    sum += picture[i]!;
    count++;
  }
  const level = sum / Math.max(1, count);
  const fine = gaussianBlur(picture, shape, band.finePx, usePx);
  const coarse = gaussianBlur(picture, shape, band.coarsePx, usePx);
  for (let i = 0; i < fine.length; i++) fine[i] = (fine[i]! - coarse[i]!) / level;
  return fine;
}
