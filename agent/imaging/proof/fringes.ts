import { smoothBackground } from "../dust/dust-background.ts";
import { fftLength, RealFft2d } from "../numerics/fft.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { medianAndSigma } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { hann } from "../registration/shift-finder.ts";
import { cyclesFromFinest, type Peak, strongestPeak } from "./spectrum-peak.ts";

export interface Fringes {
  readonly periodPx: number;
  readonly periodSigmaPx: number;
  /** Direction in which the light rises and falls, 0 to 180 from x to y (y down). */
  readonly degrees: number;
  readonly degreesSigma: number;
  /** Half of peak to peak, a share of the level. */
  readonly amplitude: number;
  readonly amplitudeSigma: number;
  /** Power over that of its surroundings in the spectrum; noise alone reaches 18 in one picture of a thousand. */
  readonly significance: number;
}

export interface FringeSearch {
  readonly found: Fringes | undefined;
  /** The strongest peak, whether or not it is a fringe; `undefined` when nothing could be looked at. */
  readonly strongest: Fringes | undefined;
  /** Smallest amplitude that would have been found at the strongest peak's place. */
  readonly limit: number;
}

/** Of pictures of noise alone, one in so many may show a fringe; large ones have more waves to choose from. */
const falseAlarm = 1e-4;
const significanceLeast = 22;
const amplitudeMin = 0.001;
/**
 * Significance that the strongest of so many waves of pure noise exceeds with a small chance.
 * Source: J. D. Scargle, Astrophysical Journal 263 (1982) 835, eq. 14 (from memory): chance = 1 - (1 - exp(-z))^waves.
 */
export function peakOfChance(chance: number, waves: number): number {
  // In this form a chance of 1e-9 keeps its digits.
  return -Math.log(-Math.expm1(Math.log1p(-chance) / waves));
}

/** Independent waves that are looked at: half of an ellipse in the spectrum, the other half being its mirror image. */
export function wavesLookedAt({ widthPx, heightPx }: Shape): number {
  return (Math.PI / 2) * (widthPx / 2 - cyclesFromFinest) * (heightPx / 2 - cyclesFromFinest);
}

/** Fringes are everywhere; dust and edges are in a few places. Share of a 3 x 3 raster that takes part. */
const spreadMin = 0.5;
const knotShare = 0.3;
/** Dust is left out where the picture, smoothed over a few pixels, lies off by more. */
const offSigma = 3;

/**
 * Straight interference fringes: one narrow peak in the power spectrum of ln F, far above its surroundings (along rows and
 * columns: above what uneven columns make), and of one kind all over the picture.
 * @param gain a flat, or an evenly lit picture divided by its flat; any scale
 * @param usePx 1 where a pixel counts
 * Sources: exponential statistics of a periodogram, J. D. Scargle, Astrophysical Journal 263 (1982) 835; thresholds own
 * reasoning, no source.
 */
export function findFringes(
  library: FftLibrary,
  gain: Float32Array,
  usePx: Uint8Array,
  shape: Shape,
): FringeSearch {
  checkShape(gain, shape);
  if (Math.min(shape.widthPx, shape.heightPx) < 64)
    return { found: undefined, strongest: undefined, limit: 1 };
  const { values, weights } = windowed(gain, usePx, shape);
  const padded = { widthPx: fftLength(shape.widthPx), heightPx: fftLength(shape.heightPx) };
  using fft = new RealFft2d(library, padded);
  const picture = new Float32Array(padded.widthPx * padded.heightPx);
  for (let y = 0; y < shape.heightPx; y++)
    picture.set(values.subarray(y * shape.widthPx, (y + 1) * shape.widthPx), y * padded.widthPx);
  const spectrum = fft.newSpectrum();
  fft.forward(picture, spectrum);
  const peak = strongestPeak(spectrum, padded, shape);
  if (!peak) return { found: undefined, strongest: undefined, limit: 1 };
  const { amplitude, spread } = waveAt(values, weights, shape, peak);
  const strongest = asFringes(peak, amplitude, shape);
  const significanceMin = Math.max(significanceLeast, peakOfChance(falseAlarm, wavesLookedAt(shape)));
  const isFringe =
    peak.significance > significanceMin && peak.overNeighbours > significanceMin && spread > spreadMin;
  return {
    found: isFringe && amplitude > amplitudeMin ? strongest : undefined,
    strongest,
    limit: Math.max(amplitudeMin, amplitude * Math.sqrt(significanceMin / peak.significance)),
  };
}

function asFringes({ perPxX, perPxY, significance }: Peak, amplitude: number, shape: Shape): Fringes {
  const perPx = Math.hypot(perPxX, perPxY);
  // Of a wave of known amplitude in a Hann window: about 0.6 cycles a frame over the root of the power ratio.
  const sigma = 0.6 / Math.sqrt(significance) / Math.sqrt(shape.widthPx * shape.heightPx);
  const degrees = (Math.atan2(perPxY, perPxX) * 180) / Math.PI;
  return {
    periodPx: 1 / perPx,
    periodSigmaPx: sigma / perPx ** 2,
    degrees: (degrees + 180) % 180,
    degreesSigma: ((sigma / perPx) * 180) / Math.PI,
    amplitude,
    amplitudeSigma: amplitude / Math.sqrt(2 * significance),
    significance,
  };
}

/** ln F less its large scales and without dust, under a Hann window; and the window itself, 0 where nothing is. */
function windowed(gain: Float32Array, usePx: Uint8Array, shape: Shape) {
  const { widthPx, heightPx } = shape;
  const use = usePx.map((one, i) => (one === 1 && gain[i]! > 0 ? 1 : 0));
  const values = gain.map((level, i) => (use[i] === 1 ? Math.log(level) : 0));
  const background = smoothBackground(values, use, shape, knotShare * Math.max(widthPx, heightPx));
  for (let i = 0; i < values.length; i++) values[i] = use[i] === 1 ? values[i]! - background[i]! : 0;
  const weights = withoutDust(values, use, shape);
  const [across, down] = [hann(widthPx), hann(heightPx)];
  let [sum, weightSum] = [0, 0];
  for (let i = 0; i < values.length; i++) {
    weights[i]! *= across[i % widthPx]! * down[Math.floor(i / widthPx)]!;
    sum += weights[i]! * values[i]!;
    weightSum += weights[i]!;
  }
  const mean = sum / (weightSum || 1);
  for (let i = 0; i < values.length; i++) values[i] = (values[i]! - mean) * weights[i]!;
  return { values, weights };
}

/** 1 where the smoothed picture is like the rest of it, 0 in dust and other outliers, with soft borders. */
function withoutDust(values: Float32Array, use: Uint8Array, shape: Shape): Float32Array {
  const smooth = gaussianBlur(values, shape, 3, use);
  const every = Math.max(1, Math.floor(values.length / 100_000)) | 1;
  const spread = medianAndSigma(smooth.filter((_, i) => i % every === 0 && use[i] === 1));
  if (!spread) return new Float32Array(use);
  const like = new Float32Array(values.length);
  for (let i = 0; i < like.length; i++)
    like[i] = use[i] === 1 && Math.abs(smooth[i]! - spread.median) < offSigma * spread.sigma ? 1 : 0;
  const soft = gaussianBlur(like, shape, 2, use);
  for (let i = 0; i < soft.length; i++) soft[i] = use[i] === 1 ? Math.max(0, 2 * soft[i]! - 1) : 0;
  return soft;
}

/** Amplitude of the wave over the picture, and over how much of a 3 x 3 raster it is spread (1 evenly, 1/9 in one cell). */
function waveAt(
  values: Float32Array,
  weights: Float32Array,
  { widthPx, heightPx }: Shape,
  { perPxX, perPxY }: Peak,
) {
  const re = new Float64Array(9);
  const im = new Float64Array(9);
  const weight = new Float64Array(9);
  for (let y = 0; y < heightPx; y++) {
    const row = 3 * Math.floor((3 * y) / heightPx);
    for (let x = 0; x < widthPx; x++) {
      const i = y * widthPx + x;
      if (weights[i] === 0) continue;
      const cell = row + Math.floor((3 * x) / widthPx);
      const phase = 2 * Math.PI * (perPxX * x + perPxY * y);
      re[cell]! += values[i]! * Math.cos(phase);
      im[cell]! -= values[i]! * Math.sin(phase);
      weight[cell]! += weights[i]!;
    }
  }
  const total = weight.reduce((a, b) => a + b, 0) || 1;
  const sum = (part: Float64Array) => part.reduce((a, b) => a + b, 0);
  const cells = Array.from(re, (value, k) =>
    weight[k]! > total / 100 ? Math.hypot(value, im[k]!) / weight[k]! : 0,
  );
  const [first, second] = [cells.reduce((a, b) => a + b, 0), cells.reduce((a, b) => a + b * b, 0)];
  return {
    amplitude: (2 * Math.hypot(sum(re), sum(im))) / total,
    spread: second > 0 ? (first * first) / (9 * second) : 0,
  };
}
