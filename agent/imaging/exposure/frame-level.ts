import { checkShape, type Shape } from "../numerics/shape.ts";
import { clipLevelAdu, converterCodes } from "./converter-codes.ts";
import {
  countCodes,
  countHealthyCodes,
  fractionAtOrAbove,
  fractionAtOrBelow,
  quantileAdu,
  totalCount,
} from "./histogram.ts";
import { upperEdge } from "./upper-edge.ts";

/** What one frame says about the light, pedestal included [adu]. */
export interface LevelReading {
  readonly exposureSeconds: number;
  /** Level that only the brightest 0.1 % of lit, healthy pixels exceed. */
  readonly edgeAdu: number;
  readonly medianLitAdu: number;
  /** Highest code of the converter, or the level at which this sensor clips. */
  readonly topAdu: number;
  /** Share of lit, healthy pixels at the top. */
  readonly clippedFraction: number;
  /** Share of healthy pixels at code 0. */
  readonly lowClippedFraction: number;
  /** Mean over lit, healthy pixels, and what noise leaves uncertain of it. */
  readonly meanAdu: number;
  readonly meanSigmaAdu: number;
  /** Variance of a lit pixel from its neighbours [adu²]. */
  readonly noiseVarianceAdu2: number;
  /** Means of square blocks in the lit field, sorted: how uneven the light is. */
  readonly blockMeansAdu: Float64Array;
  readonly blockPx: number;
}

const blockSidePx = 16;

/**
 * Reads the level of a frame.
 * @param camera.pedestalAdu level without light, 0 while unknown
 * @param camera.topAdu highest code, where known; it is lowered when the frame's own codes say so
 */
export function readLevel(
  pixelsAdu: Uint16Array,
  shape: Shape,
  exposureSeconds: number,
  camera: { readonly pedestalAdu: number; readonly topAdu: number; readonly unhealthyPx?: Uint8Array },
): LevelReading {
  checkShape(pixelsAdu, shape);
  const counts = camera.unhealthyPx
    ? countHealthyCodes(pixelsAdu, camera.unhealthyPx)
    : countCodes(pixelsAdu);
  const codes = converterCodes(counts);
  const converterTop = codes.dialect === "every code" ? camera.topAdu : Math.min(camera.topAdu, codes.topAdu);
  const pile = clipLevelAdu(counts);
  // A few pixels on the frame's highest code are hot ones; a sensor that clips early shows many.
  const topAdu =
    pile !== undefined && fractionAtOrAbove(counts, pile) > 1e-3
      ? Math.min(pile, converterTop)
      : converterTop;
  const edge = upperEdge(counts, { pedestalAdu: camera.pedestalAdu, fullScaleAdu: topAdu })!;
  const noiseVarianceAdu2 = neighbourVariance(pixelsAdu, shape, edge.litFromAdu, camera.unhealthyPx);
  const ceilingAdu = edge.edgeAdu + 6 * Math.sqrt(noiseVarianceAdu2);
  const blockMeansAdu = blockMeans(pixelsAdu, shape, ceilingAdu, camera.unhealthyPx);
  const lit = litBlocks(blockMeansAdu, edge.litFromAdu);
  const meanAdu = lit.reduce((a, b) => a + b, 0) / Math.max(1, lit.length);
  const clippedFrom = topAdu - Math.max(1, codes.stepAdu);
  return {
    exposureSeconds,
    edgeAdu: edge.edgeAdu,
    medianLitAdu: edge.medianLitAdu,
    topAdu,
    clippedFraction: totalCount(counts, clippedFrom) / Math.max(1, edge.litPx),
    lowClippedFraction: fractionAtOrBelow(counts, 0),
    meanAdu: lit.length > 0 ? meanAdu : (quantileAdu(counts, 0.5) ?? 0),
    meanSigmaAdu: Math.sqrt(noiseVarianceAdu2 / Math.max(1, lit.length * blockSidePx ** 2)),
    noiseVarianceAdu2,
    blockMeansAdu: lit,
    blockPx: blockSidePx ** 2,
  };
}

/**
 * Variance of a pixel, from the differences of neighbours in a row: blind to slow unevenness.
 * The largest 2 % of the differences are left out (hot pixels, edges) and made up for: what remains of a normal
 * distribution within 2.326 sigma has 0.8735 of its variance.
 */
function neighbourVariance(
  pixelsAdu: Uint16Array,
  shape: Shape,
  litFromAdu: number,
  unhealthyPx?: Uint8Array,
): number {
  const stride = Math.max(1, Math.floor(pixelsAdu.length / 200_000)) | 1;
  const squares = new Float64Array(Math.ceil(pixelsAdu.length / stride));
  let count = 0;
  for (let i = 0; i + 1 < pixelsAdu.length; i += stride) {
    const [a, b] = [pixelsAdu[i]!, pixelsAdu[i + 1]!];
    if (a < litFromAdu || b < litFromAdu || (i + 1) % shape.widthPx === 0) continue;
    if (unhealthyPx && (unhealthyPx[i] === 1 || unhealthyPx[i + 1] === 1)) continue;
    squares[count++] = (a - b) ** 2;
  }
  const sorted = squares.subarray(0, count).sort();
  const kept = Math.floor(count * 0.98);
  let sum = 0;
  for (let k = 0; k < kept; k++) sum += sorted[k]!;
  return kept === 0 ? 0 : sum / kept / 0.8735 / 2;
}

function blockMeans(
  pixelsAdu: Uint16Array,
  shape: Shape,
  ceilingAdu: number,
  unhealthyPx?: Uint8Array,
): Float64Array {
  const { widthPx, heightPx } = shape;
  const columns = Math.max(1, Math.floor(widthPx / blockSidePx));
  const rows = Math.max(1, Math.floor(heightPx / blockSidePx));
  const sums = new Float64Array(columns * rows);
  const counts = new Uint32Array(columns * rows);
  const lastColumn = Math.min(widthPx, columns * blockSidePx);
  for (let y = 0; y < Math.min(heightPx, rows * blockSidePx); y++) {
    const row = Math.floor(y / blockSidePx) * columns;
    for (let x = 0; x < lastColumn; x++) {
      const i = y * widthPx + x;
      const value = pixelsAdu[i]!;
      if (value > ceilingAdu || (unhealthyPx !== undefined && unhealthyPx[i] === 1)) continue;
      const b = row + Math.floor(x / blockSidePx);
      sums[b]! += value;
      counts[b]!++;
    }
  }
  const means: number[] = [];
  for (let b = 0; b < sums.length; b++) if (counts[b]! > 0) means.push(sums[b]! / counts[b]!);
  return new Float64Array(means).sort();
}

function litBlocks(sorted: Float64Array, litFromAdu: number): Float64Array {
  const first = sorted.findIndex((mean) => mean >= litFromAdu);
  return first < 0 ? sorted : sorted.subarray(first);
}
