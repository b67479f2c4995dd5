import { median } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

export interface PhotonTransfer {
  readonly electronsPerAdu: number;
  readonly readNoiseElectrons: number;
}

/**
 * Conversion and read noise from two equal flats and two equal biases (or darks of their exposure).
 * Pairs cancel the fixed pattern. Take them within a second of each other: a change of light between them counts as noise.
 * @param frames raw counts [adu], all of one length
 * @returns `undefined` if the flats are no noisier than the biases
 * Source: S. B. Howell, Handbook of CCD Astronomy (two-frame form; from memory); EMVA 1288 linear model.
 */
export function photonTransferFromPair(frames: {
  readonly flats: readonly [Uint16Array, Uint16Array];
  readonly biases: readonly [Uint16Array, Uint16Array];
}): PhotonTransfer | undefined {
  const [f1, f2] = frames.flats;
  const [b1, b2] = frames.biases;
  const bias = meanOf(b1) + meanOf(b2);
  const light = meanOf(f1) + meanOf(f2) - bias;
  const biasVariance = varianceOfDifference(b1, b2);
  const varianceBeyond = varianceOfDifference(f1, f2) - biasVariance;
  if (!(varianceBeyond > 0) || !(light > 0)) return undefined;
  const electronsPerAdu = light / varianceBeyond;
  return { electronsPerAdu, readNoiseElectrons: Math.sqrt(biasVariance / 2) * electronsPerAdu };
}

/** The same tile by tile, median of the tiles: for fields that are unevenly lit. */
export function photonTransferFromTiles(
  frames: Parameters<typeof photonTransferFromPair>[0],
  shape: Shape,
  tilePx = 32,
): PhotonTransfer | undefined {
  checkShape(frames.flats[0], shape);
  const gains: number[] = [];
  const noises: number[] = [];
  for (let y = 0; y + tilePx <= shape.heightPx; y += tilePx) {
    for (let x = 0; x + tilePx <= shape.widthPx; x += tilePx) {
      const cut = (frame: Uint16Array) => tileOf(frame, shape, x, y, tilePx);
      const tile = photonTransferFromPair({
        flats: [cut(frames.flats[0]), cut(frames.flats[1])],
        biases: [cut(frames.biases[0]), cut(frames.biases[1])],
      });
      if (!tile) continue;
      gains.push(1 / tile.electronsPerAdu); // the variance is in the numerator here: no bias from dividing by noise
      noises.push(tile.readNoiseElectrons / tile.electronsPerAdu);
    }
  }
  const aduPerElectron = median(gains);
  if (aduPerElectron === undefined) return undefined;
  return { electronsPerAdu: 1 / aduPerElectron, readNoiseElectrons: median(noises)! / aduPerElectron };
}

function tileOf(frame: Uint16Array, shape: Shape, x0: number, y0: number, sidePx: number): Uint16Array {
  const tile = new Uint16Array(sidePx * sidePx);
  for (let y = 0; y < sidePx; y++) {
    const from = (y0 + y) * shape.widthPx + x0;
    tile.set(frame.subarray(from, from + sidePx), y * sidePx);
  }
  return tile;
}

function meanOf(values: Uint16Array): number {
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i]!;
  return sum / values.length;
}

/** With n - 1. */
function varianceOfDifference(a: Uint16Array, b: Uint16Array): number {
  if (a.length !== b.length) throw new RangeError("the frames of a pair differ in length");
  const shift = a[0]! - b[0]!;
  let sum = 0;
  let squares = 0;
  for (let i = 0; i < a.length; i++) {
    const d = a[i]! - b[i]! - shift;
    sum += d;
    squares += d * d;
  }
  return (squares - (sum * sum) / a.length) / (a.length - 1);
}
