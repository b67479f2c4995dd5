import { responseAt, type SensorResponse } from "./sensor-response.ts";

/** A sensor's curve in a camera's own counts. */
export interface CountCurve extends Pick<SensorResponse, "coefficients"> {
  /** Level above the dark that is full scale [adu]. */
  readonly topAdu: number;
}

/** What a level above the dark would be if the sensor were straight [adu]; below the dark as it is. */
export function straightLevel(curve: CountCurve, levelAdu: number): number {
  return levelAdu > 0 ? levelAdu * Math.exp(-responseAt(curve, levelAdu / curve.topAdu)) : levelAdu;
}

/**
 * The mean of a series as a straight sensor would have it. All of its frames have nearly the same level, so that the mean of
 * straightened counts is the straightened mean.
 */
export function straightenMaster<
  M extends { readonly meanAdu: Float32Array; readonly sigmaAdu: Float32Array },
>(master: M, curve: CountCurve): M {
  const meanAdu = new Float32Array(master.meanAdu.length);
  const sigmaAdu = new Float32Array(meanAdu.length);
  for (let i = 0; i < meanAdu.length; i++) {
    const level = master.meanAdu[i]!;
    meanAdu[i] = straightLevel(curve, level);
    sigmaAdu[i] = master.sigmaAdu[i]! * slopeAt(curve, level);
  }
  return { ...master, meanAdu, sigmaAdu };
}

/** By how much a straight level grows with the measured one. */
function slopeAt(curve: CountCurve, levelAdu: number): number {
  if (levelAdu <= 0) return 1;
  const [a, b, c] = curve.coefficients;
  const y = levelAdu / curve.topAdu;
  return Math.exp(-responseAt(curve, y)) * (1 - y * (a + y * (2 * b + 3 * c * y)));
}

/**
 * Counts of an image as a straight sensor would have them [adu], the dark still in them.
 * @param darkAdu of the same shape as the image
 * @param result of that shape too; it may be the image
 * @returns `result`
 */
export function straightenCounts(
  imageAdu: ArrayLike<number>,
  darkAdu: Float32Array,
  curve: CountCurve,
  result: Float32Array,
): Float32Array {
  for (let i = 0; i < result.length; i++)
    result[i] = darkAdu[i]! + straightLevel(curve, imageAdu[i]! - darkAdu[i]!);
  return result;
}
