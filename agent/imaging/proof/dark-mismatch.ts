import type { BlockMap } from "../numerics/block-map.ts";
import { mapInto } from "../numerics/map-into.ts";
import { medianAndSigma, medianInPlace } from "../numerics/order-statistics.ts";

export interface DarkMismatch {
  /** Share of the dark current by which the first set exceeds the second; 0 when no warm pixels tell. */
  readonly share: number;
  readonly shareSigma: number;
  /** What that makes of the difference, per block [adu]. */
  readonly blockAdu: Float64Array;
  /** What the uncertainty of it leaves unknown of the even part [adu]. */
  readonly evenSigmaAdu: number;
}

/** A pixel this many sigma above its neighbourhood is warm enough to serve as a thermometer. */
const warmSigma = 20;
/** Levels near the top clip and would read cold. */
const warmBelowAdu = 40_000;

/**
 * Dark current against light: a leak adds the same to warm and to cool pixels, a temperature adds in proportion.
 * The difference of the warm pixels over their excess in the dark tells the share; cool pixels then get theirs taken off.
 */
export function darkMismatch(
  differenceAdu: Float32Array,
  usualDifference: BlockSpreads,
  darkAdu: Float32Array,
  sigmaAdu: number,
  map: BlockMap,
  biasAdu: number | undefined,
): DarkMismatch {
  const usual = blockSpreads(darkAdu, map).medians;
  const ratios: number[] = [];
  for (let i = 0; i < darkAdu.length; i++) {
    const b = map.blockOf(i);
    const excess = darkAdu[i]! - usual[b]!;
    if (excess > warmSigma * sigmaAdu && darkAdu[i]! < warmBelowAdu)
      ratios.push((differenceAdu[i]! - usualDifference.medians[b]!) / excess);
  }
  const spread = ratios.length >= 10 ? medianAndSigma(ratios) : undefined;
  const shareSigma = spread ? (1.25 * spread.sigma) / Math.sqrt(ratios.length) : 0;
  const share = spread && Math.abs(spread.median) > 3 * shareSigma ? spread.median : 0;
  const floorAdu = biasAdu ?? lowest(usual);
  const blockAdu = mapInto(new Float64Array(usual.length), usual, (level) => share * (level - floorAdu));
  const meanDark = usual.reduce((sum, level) => sum + level - floorAdu, 0) / Math.max(1, usual.length);
  return { share, shareSigma, blockAdu, evenSigmaAdu: shareSigma * Math.max(0, meanDark) };
}

export interface BlockSpreads {
  readonly medians: Float64Array;
  /** Robust. */
  readonly sigmas: Float64Array;
}

export function blockSpreads(picture: Float32Array, map: BlockMap): BlockSpreads {
  const { widthPx, heightPx } = map.shape;
  const side = map.sidePx;
  const values = new Float64Array(side * side);
  const medians = new Float64Array(map.count);
  const sigmas = new Float64Array(map.count);
  for (let b = 0; b < map.count; b++) {
    const x0 = (b % map.columns) * side;
    const y0 = Math.floor(b / map.columns) * side;
    let count = 0;
    for (let y = y0; y < Math.min(heightPx, y0 + side); y++)
      for (let x = x0; x < Math.min(widthPx, x0 + side); x++) values[count++] = picture[y * widthPx + x]!;
    const middle = medianInPlace(values, count) ?? 0;
    medians[b] = middle;
    for (let k = 0; k < count; k++) values[k] = Math.abs(values[k]! - middle);
    sigmas[b] = 1.4826 * (medianInPlace(values, count) ?? 0);
  }
  return { medians, sigmas };
}

function lowest(values: Float64Array): number {
  return values.reduce((a, b) => Math.min(a, b), Number.POSITIVE_INFINITY);
}
