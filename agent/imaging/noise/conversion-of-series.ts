import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";

/** How a camera turns electrons into counts at one gain. */
export interface Conversion {
  readonly electronsPerAdu: number;
  /** One sigma of it. */
  readonly electronsPerAduSigma: number;
  /** Noise of a dark frame's pixel, rounding in it [e-]. */
  readonly darkNoiseElectrons: number;
}

const tilePx = 32;
/** Pixels whose scatter the noise of a level is taken from. */
const sampledPx = 60_000;
/** A tile with fewer trusted pixels has no say. */
const trustedInTile = 0.5;

/**
 * Conversion from the scatter of a series of equally bright frames beyond that of its darks: variance over level, tile by
 * tile, as the field is unevenly lit; the median of the tiles.
 * @param light mean above the dark and one frame's sigma per pixel [adu]; pixels with a mask count for nothing
 * @param darkFrameSigmaAdu one sigma of a single dark's pixel
 * @returns `undefined` when the light makes no more noise than the dark
 * Source: EMVA 1288 linear, release 4.0.
 */
export function conversionOfSeries(
  light: {
    readonly shape: Shape;
    readonly meanAdu: Float32Array;
    readonly frameSigmaAdu: Float32Array;
    readonly mask: Uint8Array;
    readonly frameCount: number;
  },
  darkFrameSigmaAdu: Float32Array,
): Conversion | undefined {
  const { widthPx, heightPx } = light.shape;
  const aduPerElectron: number[] = [];
  const darkVariances: number[] = [];
  for (let y = 0; y + tilePx <= heightPx; y += tilePx)
    for (let x = 0; x + tilePx <= widthPx; x += tilePx) {
      const tile = sumTile(light, darkFrameSigmaAdu, { x, y });
      if (tile.count < trustedInTile * tilePx ** 2) continue;
      aduPerElectron.push((tile.lightVariance - tile.darkVariance) / tile.level);
      darkVariances.push(tile.darkVariance / tile.count);
    }
  const typical = median(aduPerElectron);
  if (typical === undefined || !(typical > 0)) return undefined;
  const samples = Math.min(sampledPx, widthPx * heightPx) * Math.max(1, light.frameCount - 1);
  return {
    electronsPerAdu: 1 / typical,
    electronsPerAduSigma: Math.sqrt(2 / samples) / typical,
    darkNoiseElectrons: Math.sqrt(median(darkVariances)!) / typical,
  };
}

function sumTile(
  {
    shape: { widthPx },
    meanAdu,
    frameSigmaAdu,
    mask,
  }: Omit<Parameters<typeof conversionOfSeries>[0], "frameCount">,
  darkFrameSigmaAdu: Float32Array,
  { x, y }: { readonly x: number; readonly y: number },
) {
  const sum = { level: 0, lightVariance: 0, darkVariance: 0, count: 0 };
  for (let v = y; v < y + tilePx; v++)
    for (let i = v * widthPx + x; i < v * widthPx + x + tilePx; i++) {
      if (mask[i] !== 0) continue;
      sum.level += meanAdu[i]!;
      sum.lightVariance += frameSigmaAdu[i]! ** 2;
      sum.darkVariance += darkFrameSigmaAdu[i]! ** 2;
      sum.count++;
    }
  return sum;
}
