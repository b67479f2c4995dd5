export interface PhotonTransfer {
  readonly electronsPerAdu: number;
  readonly readNoiseElectrons: number;
  /** Of one pixel of one frame, fixed pattern cancelled, with n - 1 [adu²]. */
  readonly flatVarianceAdu2: number;
  readonly biasVarianceAdu2: number;
  /** Mean of the flats, and of the biases [adu]. */
  readonly flatAdu: number;
  readonly biasAdu: number;
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
  const biasAdu = (meanOf(b1) + meanOf(b2)) / 2;
  const flatAdu = (meanOf(f1) + meanOf(f2)) / 2;
  const biasVarianceAdu2 = varianceOfDifference(b1, b2) / 2;
  const flatVarianceAdu2 = varianceOfDifference(f1, f2) / 2;
  if (!(flatVarianceAdu2 > biasVarianceAdu2) || !(flatAdu > biasAdu)) return undefined;
  const electronsPerAdu = (flatAdu - biasAdu) / (flatVarianceAdu2 - biasVarianceAdu2);
  return {
    electronsPerAdu,
    readNoiseElectrons: Math.sqrt(biasVarianceAdu2) * electronsPerAdu,
    flatVarianceAdu2,
    biasVarianceAdu2,
    flatAdu,
    biasAdu,
  };
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
