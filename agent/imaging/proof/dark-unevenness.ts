import { medianAndSigma, medianInPlace, quantile } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

export interface DarkUnevenness {
  /** Brightest less darkest parts of the frame, less what noise makes of that [adu]. */
  readonly peakToPeakAdu: number;
  /** One sigma of it, from noise [adu]. */
  readonly sigmaAdu: number;
}

const raster = 12;
const samplesPerBlock = 2000;
/** Of so many blocks the range between these is 4.1 standard deviations when there is nothing but noise. */
const outer = { least: 0.02, most: 0.98, sigmas: 4.1 } as const;

/**
 * How unevenly a dark is lit: medians of a 12 x 12 raster, which single hot pixels and read noise do not move. A cover that leaks
 * on one side shows, and so does the glow of an amplifier; light that falls evenly does not.
 * @param usePx 1 where a pixel counts
 * @returns `undefined` for a picture too small for that
 */
export function darkUnevenness(
  values: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
): DarkUnevenness | undefined {
  checkShape(values, shape);
  const [wide, high] = [Math.floor(shape.widthPx / raster), Math.floor(shape.heightPx / raster)];
  if (wide * high < 50) return undefined;
  const every = Math.max(1, Math.floor((wide * high) / samplesPerBlock));
  const medians: number[] = [];
  const sigmas: number[] = [];
  for (let k = 0; k < raster * raster; k++) {
    const [x0, y0] = [(k % raster) * wide, Math.floor(k / raster) * high];
    const block: number[] = [];
    for (let j = k % every; j < wide * high; j += every) {
      const i = (y0 + Math.floor(j / wide)) * shape.widthPx + x0 + (j % wide);
      if (usePx[i] === 1 && Number.isFinite(values[i]!)) block.push(values[i]!);
    }
    const found = block.length >= 30 ? medianAndSigma(block) : undefined;
    if (!found) continue;
    medians.push(meanAbout(block, found));
    sigmas.push(found.sigma / Math.sqrt(block.length));
  }
  if (medians.length < raster) return undefined;
  const sigmaAdu = medianInPlace(new Float64Array(sigmas))!;
  const range = quantile(medians, outer.most)! - quantile(medians, outer.least)!;
  return {
    peakToPeakAdu: Math.sqrt(Math.max(0, range ** 2 - (outer.sigmas * sigmaAdu) ** 2)),
    sigmaAdu: sigmaAdu * Math.SQRT2,
  };
}

/** Counts are whole numbers and so is their median: the mean of what lies near it is finer. */
function meanAbout(block: readonly number[], { median, sigma }: { median: number; sigma: number }): number {
  const reach = 3 * Math.max(sigma, 1);
  let [sum, count] = [0, 0];
  for (const value of block)
    if (Math.abs(value - median) <= reach) {
      sum += value;
      count++;
    }
  return count > 0 ? sum / count : median;
}
