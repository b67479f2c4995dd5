/** Figures of a recovered pattern, as fractions of it. */
export interface GainError {
  /** Rms of the difference of logarithms, mean removed. */
  readonly rms: number;
  /** The plane in that difference: largest change over the frame along one axis. */
  readonly plane: number;
  /** What photon noise alone would leave. */
  readonly floor: number;
  readonly comparedPx: number;
}

/** @param log logarithm of the recovered gain; NaN where there is none */
export function gainError(
  log: Float64Array,
  scene: { readonly side: number; readonly gain: Float64Array; readonly photonVariance: Float64Array },
): GainError {
  const { side, gain, photonVariance } = scene;
  const error = log.map((value, i) => value - Math.log(gain[i]!));
  let [n, sum, variance] = [0, 0, 0];
  error.forEach((value, i) => {
    if (Number.isNaN(value)) return;
    n++;
    sum += value;
    variance += photonVariance[i]!;
  });
  const mean = sum / n;
  let [squares, sx, sy, sxx, syy] = [0, 0, 0, 0, 0];
  error.forEach((value, i) => {
    if (Number.isNaN(value)) return;
    const x = (i % side) - (side - 1) / 2;
    const y = Math.floor(i / side) - (side - 1) / 2;
    squares += (value - mean) ** 2;
    sx += x * (value - mean);
    sy += y * (value - mean);
    sxx += x * x;
    syy += y * y;
  });
  return {
    rms: Math.sqrt(squares / n),
    plane: side * Math.max(Math.abs(sx / sxx), Math.abs(sy / syy)),
    floor: Math.sqrt(variance / n),
    comparedPx: n,
  };
}
