import { gaussianBlur } from "./gaussian-blur.ts";
import type { Flat } from "./normalise-flat.ts";
import type { Shape } from "./shape.ts";
import { trusted } from "./flat-shape.ts";

export interface LeftoverSun {
  /** Share of the flat's light that still forms a picture of the Sun: 0 is none, 1 all of it. */
  readonly share: number;
  readonly shareSigma: number;
  /** Rms of the Sun's structure in the flat that this makes; a share of the level. */
  readonly rms: number;
}

/**
 * How much of a picture of the Sun is left in a flat: regression of the flat's band-passed structure on the Sun's,
 * b = ⟨h(F)·h(M)⟩ / ⟨h(M)²⟩, h = Gaussian σ 2 less σ 24 px.
 * The rig's own structure is in both pictures: pass a picture of the Sun already divided by the flat.
 * @param sun levels above the dark, any scale; brought to mean 1 here
 * @returns `undefined` when the Sun shows no structure to look for
 */
export function leftoverSun(flat: Flat, sun: Float32Array, shape: Shape): LeftoverSun | undefined {
  const usePx = trusted(flat);
  const sunStructure = bandPass(toMeanOne(sun, usePx), shape, usePx);
  const flatStructure = bandPass(flat.gain, shape, usePx);
  const { widthPx, heightPx } = shape;
  const tile = Math.max(16, Math.floor(Math.min(widthPx, heightPx) / 6));
  const tiles: { product: number; square: number }[] = [];
  let [product, square, count] = [0, 0, 0];
  for (let y0 = 0; y0 + tile <= heightPx; y0 += tile)
    for (let x0 = 0; x0 + tile <= widthPx; x0 += tile) {
      const one = { product: 0, square: 0 };
      for (let y = y0; y < y0 + tile; y++)
        for (let i = y * widthPx + x0; i < y * widthPx + x0 + tile; i++) {
          if (usePx[i] !== 1) continue;
          one.product += flatStructure[i]! * sunStructure[i]!;
          one.square += sunStructure[i]! ** 2;
          count++;
        }
      tiles.push(one);
      product += one.product;
      square += one.square;
    }
  const sunRms = count > 0 ? Math.sqrt(square / count) : 0;
  if (sunRms < 1e-3) return undefined;
  const share = product / square;
  // Tiles overlap the rig's dust by chance: their scatter about the common share is its uncertainty.
  const scatter = tiles.reduce((sum, one) => sum + (one.product - share * one.square) ** 2, 0);
  return { share, shareSigma: Math.sqrt(scatter) / square, rms: Math.abs(share) * sunRms };
}

function bandPass(picture: Float32Array, shape: Shape, usePx: Uint8Array): Float32Array {
  const fine = gaussianBlur(picture, shape, 2, usePx);
  const coarse = gaussianBlur(picture, shape, 24, usePx);
  for (let i = 0; i < fine.length; i++) fine[i]! -= coarse[i]!;
  return fine;
}

function toMeanOne(picture: Float32Array, usePx: Uint8Array): Float32Array {
  let sum = 0;
  let count = 0;
  for (let i = 0; i < picture.length; i++) {
    if (usePx[i] !== 1) continue;
    sum += picture[i]!;
    count++;
  }
  const scaled = new Float32Array(picture.length);
  for (let i = 0; i < scaled.length; i++) scaled[i] = (picture[i]! * count) / sum;
  return scaled;
}
