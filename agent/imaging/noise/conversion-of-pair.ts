import { median } from "../numerics/order-statistics.ts";
import type { Shape } from "../numerics/shape.ts";
import type { Conversion } from "./conversion-of-series.ts";

const tilePx = 36;
const squarePx = 3;
/** Second difference in rows times that in columns: what changes slowly over three pixels falls out. */
const weights = [1, -2, 1];
const weightSquares = 36;
/** A tile with fewer whole squares has no say. */
const trustedInTile = 0.5;

/**
 * Conversion from two frames of one scene at rest, unblurred. Their difference still holds what the air and the mount moved
 * between them, which is smooth over a few pixels; so its noise is taken in squares of 3 x 3 px from the second difference
 * both ways, of which structure of 8 px leaves a twentieth. White noise comes through that whole.
 * @param pair raw counts [adu], shape [heightPx, widthPx] like all arrays here, taken right after each other at one exposure
 * @param dark mean of darks of that exposure, and one sigma of a single one's pixel [adu]
 * @param usePx 1 where a pixel counts; clipped pixels must not
 * @returns `undefined` when the light makes no more noise than the dark
 * Source: EMVA 1288 linear, release 4.0, for variance over level; the squares are our own.
 */
export function conversionOfPair(
  pair: readonly [Uint16Array, Uint16Array],
  dark: { readonly meanAdu: Float32Array; readonly frameSigmaAdu: Float32Array },
  usePx: Uint8Array,
  { widthPx, heightPx }: Shape,
): Conversion | undefined {
  const [a, b] = pair;
  const brighter = levelOf(a, dark.meanAdu, usePx) / levelOf(b, dark.meanAdu, usePx);
  const aduPerElectron: number[] = [];
  const darkVariances: number[] = [];
  let squares = 0;
  for (let top = 0; top + tilePx <= heightPx; top += tilePx)
    for (let left = 0; left + tilePx <= widthPx; left += tilePx) {
      let [count, variance, darkVariance, level] = [0, 0, 0, 0];
      for (let y = top; y < top + tilePx; y += squarePx)
        for (let x = left; x < left + tilePx; x += squarePx) {
          let [sharp, lightHere, darkHere, trusted] = [0, 0, 0, 0];
          for (let v = 0; v < squarePx; v++)
            for (let u = 0; u < squarePx; u++) {
              const px = (y + v) * widthPx + x + u;
              if (usePx[px] !== 1) continue;
              const light = a[px]! - dark.meanAdu[px]!;
              sharp += weights[v]! * weights[u]! * (light - brighter * (b[px]! - dark.meanAdu[px]!));
              lightHere += light;
              darkHere += dark.frameSigmaAdu[px]! ** 2;
              trusted++;
            }
          if (trusted < squarePx ** 2) continue;
          variance += sharp ** 2 / weightSquares;
          level += lightHere / squarePx ** 2;
          darkVariance += darkHere / squarePx ** 2;
          count++;
        }
      if (count < trustedInTile * (tilePx / squarePx) ** 2) continue;
      squares += count;
      aduPerElectron.push((variance - (1 + brighter ** 2) * darkVariance) / (level * (1 + brighter)));
      darkVariances.push(darkVariance / count);
    }
  const typical = median(aduPerElectron);
  if (typical === undefined || !(typical > 0)) return undefined;
  return {
    electronsPerAdu: 1 / typical,
    electronsPerAduSigma: (1.25 * Math.sqrt(2 / squares)) / typical, // a median's noise is 1.25 times a mean's
    darkNoiseElectrons: Math.sqrt(median(darkVariances)!) / typical,
  };
}

function levelOf(pixelsAdu: Uint16Array, darkAdu: Float32Array, usePx: Uint8Array): number {
  let sum = 0;
  for (let i = 0; i < pixelsAdu.length; i++) if (usePx[i] === 1) sum += pixelsAdu[i]! - darkAdu[i]!;
  return sum;
}
