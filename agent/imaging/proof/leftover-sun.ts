import type { Flat } from "../combining/normalise-flat.ts";
import { findTrustedPx } from "../combining/trusted-px.ts";
import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import type { Shape } from "../numerics/shape.ts";

export interface LeftoverSun {
  /** Share of the flat's light that still forms a picture of the Sun: 0 is none, 1 all of it. */
  readonly share: number;
  readonly shareSigma: number;
  /** Rms of the Sun's structure in the flat that this makes; a share of the level. */
  readonly rms: number;
  readonly rmsSigma: number;
  /** The same where the Sun's structure is strongest, a spot for instance: what an eye sees first. */
  readonly worst: number;
  readonly worstSigma: number;
}

/**
 * How much of a picture of the Sun is left in a flat: regression of the flat's band-passed structure on the Sun's,
 * b = ⟨h(F)·h(M)⟩ / ⟨h(M)²⟩, h = Gaussian σ 2 less σ 24 px.
 * The rig's own structure is in both pictures: pass a picture of the Sun already divided by the flat.
 * @param sun levels above the dark, any scale; brought to mean 1 here
 * @returns `undefined` when the Sun shows no structure to look for
 */
export function leftoverSun(flat: Flat, sun: Float32Array, shape: Shape): LeftoverSun | undefined {
  const usePx = findTrustedPx(flat);
  const coarseSigmaPx = Math.min(24, Math.min(shape.widthPx, shape.heightPx) / 12);
  const sunStructure = bandPass(toMeanOne(sun, usePx), shape, usePx, coarseSigmaPx);
  const flatStructure = bandPass(flat.gain, shape, usePx, coarseSigmaPx);
  // At the edges the filter is one-sided and turns vignetting and limb darkening alike into structure.
  const borderPx = Math.ceil(2 * coarseSigmaPx);
  const tiles = tileSums(sunStructure, flatStructure, usePx, shape, borderPx);
  const whole = tiles.reduce(added, nothing);
  const { count } = whole;
  if (count === 0) return undefined;
  // Slow curves leave a constant in both: what counts is how they vary together.
  const [meanSun, meanFlat] = [whole.sun / count, whole.flat / count];
  const square = whole.square - count * meanSun ** 2;
  const product = whole.product - count * meanSun * meanFlat;
  const sunRms = Math.sqrt(square / count);
  if (sunRms < 1e-3) return undefined;
  const share = product / square;
  // Tiles overlap the rig's dust by chance: their scatter about the common share is its uncertainty.
  const scatter = tiles.reduce((sum, tile) => {
    const tileProduct =
      tile.product - meanSun * tile.flat - meanFlat * tile.sun + tile.count * meanSun * meanFlat;
    const tileSquare = tile.square - 2 * meanSun * tile.sun + tile.count * meanSun ** 2;
    return sum + (tileProduct - share * tileSquare) ** 2;
  }, 0);
  const shareSigma = Math.sqrt(scatter) / square;
  const strongest = strongestOf(sunStructure, usePx, shape, borderPx);
  return {
    share,
    shareSigma,
    rms: Math.abs(share) * sunRms,
    rmsSigma: shareSigma * sunRms,
    worst: Math.abs(share) * strongest,
    worstSigma: shareSigma * strongest,
  };
}

/** Of what is darker or brighter than all about it; a pixel alone may be noise, and is smoothed over its neighbours already. */
function strongestOf(
  sun: Float32Array,
  usePx: Uint8Array,
  { widthPx, heightPx }: Shape,
  borderPx: number,
): number {
  let most = 0;
  for (let y = borderPx; y < heightPx - borderPx; y++)
    for (let i = y * widthPx + borderPx; i < (y + 1) * widthPx - borderPx; i++)
      if (usePx[i] === 1) most = Math.max(most, Math.abs(sun[i]!));
  return most;
}

interface Sums {
  readonly count: number;
  readonly sun: number;
  readonly flat: number;
  readonly square: number;
  readonly product: number;
}

const nothing: Sums = { count: 0, sun: 0, flat: 0, square: 0, product: 0 };

function added(a: Sums, b: Sums): Sums {
  return {
    count: a.count + b.count,
    sun: a.sun + b.sun,
    flat: a.flat + b.flat,
    square: a.square + b.square,
    product: a.product + b.product,
  };
}

/** In about 6 x 6 tiles inside the border. */
function tileSums(
  sun: Float32Array,
  flat: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
  borderPx: number,
): Sums[] {
  const { widthPx, heightPx } = shape;
  const tile = Math.max(8, Math.floor((Math.min(widthPx, heightPx) - 2 * borderPx) / 6));
  const tiles: Sums[] = [];
  for (let y0 = borderPx; y0 + tile <= heightPx - borderPx; y0 += tile)
    for (let x0 = borderPx; x0 + tile <= widthPx - borderPx; x0 += tile) {
      const sums = { ...nothing } as { -readonly [K in keyof Sums]: number };
      for (let y = y0; y < y0 + tile; y++)
        for (let i = y * widthPx + x0; i < y * widthPx + x0 + tile; i++) {
          if (usePx[i] !== 1) continue;
          sums.count++;
          sums.sun += sun[i]!;
          sums.flat += flat[i]!;
          sums.square += sun[i]! ** 2;
          sums.product += flat[i]! * sun[i]!;
        }
      tiles.push(sums);
    }
  return tiles;
}

function bandPass(
  picture: Float32Array,
  shape: Shape,
  usePx: Uint8Array,
  coarseSigmaPx: number,
): Float32Array {
  const fine = gaussianBlur(picture, shape, 2, usePx);
  const coarse = gaussianBlur(picture, shape, coarseSigmaPx, usePx);
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
