import { fftLength, RealFft2d } from "../numerics/fft.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import { fillInto } from "../numerics/map-into.ts";
import { median } from "../numerics/order-statistics.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";

export interface FoundShift {
  /** How far the second picture's content lies from the first's [px]; x right, y down. */
  readonly x: number;
  readonly y: number;
  /** Height of the correlation's peak in robust standard deviations of its surroundings. */
  readonly peakSigma: number;
}

export interface ShiftFinderOptions {
  /** Structure between these two Gaussian sigmas counts [px]. */
  readonly fineSigmaPx: number;
  readonly coarseSigmaPx: number;
}

/**
 * Shifts between pictures of one size: Hann window, band-pass, cross-power spectrum over the square root of its modulus,
 * the peak by a parabola through the 3 x 3 sums.
 * Half-way between plain and phase correlation: noise at high frequencies is not blown up, large scales do not rule.
 * Source of the phase-only form: C. D. Kuglin and D. C. Hines, Proc. IEEE Int. Conf. Cybernetics and Society (1975) 163
 * (from memory); the square root is common practice, no source.
 */
export class ShiftFinder implements Disposable {
  readonly #shape: Shape;
  readonly #padded: Shape;
  readonly #fft: RealFft2d;
  readonly #weights: Float32Array;
  readonly #windowX: Float32Array;
  readonly #windowY: Float32Array;
  readonly #picture: Float32Array;

  constructor(library: FftLibrary, shape: Shape, options: ShiftFinderOptions) {
    this.#shape = shape;
    // Room enough that a shift of more than half the picture is not mistaken for one the other way.
    this.#padded = {
      widthPx: fftLength(Math.ceil(1.25 * shape.widthPx)),
      heightPx: fftLength(Math.ceil(1.25 * shape.heightPx)),
    };
    this.#fft = new RealFft2d(library, this.#padded);
    this.#weights = bandPass(this.#padded, options);
    this.#windowX = hann(shape.widthPx);
    this.#windowY = hann(shape.heightPx);
    this.#picture = new Float32Array(this.#padded.widthPx * this.#padded.heightPx);
  }

  /** @param picture NaN where there is nothing */
  spectrumOf(picture: Float32Array): Float32Array {
    checkShape(picture, this.#shape);
    const { widthPx, heightPx } = this.#shape;
    const wide = this.#padded.widthPx;
    let [sum, weight] = [0, 0];
    for (let y = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++) {
        const value = picture[y * widthPx + x]!;
        if (Number.isNaN(value)) continue;
        const w = this.#windowX[x]! * this.#windowY[y]!;
        sum += w * value;
        weight += w;
      }
    }
    const mean = weight > 0 ? sum / weight : 0;
    this.#picture.fill(0);
    for (let y = 0; y < heightPx; y++) {
      for (let x = 0; x < widthPx; x++) {
        const value = picture[y * widthPx + x]!;
        if (!Number.isNaN(value))
          this.#picture[y * wide + x] = (value - mean) * this.#windowX[x]! * this.#windowY[y]!;
      }
    }
    const spectrum = this.#fft.newSpectrum();
    this.#fft.forward(this.#picture, spectrum);
    weigh(spectrum, this.#weights);
    return spectrum;
  }

  /** Content of `second` against that of `first`. */
  between(first: Float32Array, second: Float32Array): FoundShift {
    const cross = crossPower(first, second);
    this.#fft.inverse(cross, this.#picture);
    return peakOf(this.#picture, this.#padded);
  }

  [Symbol.dispose](): void {
    this.#fft[Symbol.dispose]();
  }
}

export function hann(length: number): Float32Array {
  return fillInto(new Float32Array(length), (i) => 0.5 - 0.5 * Math.cos((2 * Math.PI * (i + 0.5)) / length));
}

/** Difference of two Gaussians in the Fourier plane, one weight for each complex number of a spectrum. */
function bandPass(shape: Shape, { fineSigmaPx, coarseSigmaPx }: ShiftFinderOptions): Float32Array {
  const { widthPx, heightPx } = shape;
  const columns = widthPx / 2 + 1;
  const weights = new Float32Array(columns * heightPx);
  const fine = -2 * Math.PI ** 2 * fineSigmaPx ** 2;
  const coarse = -2 * Math.PI ** 2 * coarseSigmaPx ** 2;
  for (let v = 0; v < heightPx; v++) {
    const fy = (v > heightPx / 2 ? v - heightPx : v) / heightPx;
    for (let u = 0; u < columns; u++) {
      const square = fy * fy + (u / widthPx) ** 2;
      weights[v * columns + u] = Math.exp(fine * square) - Math.exp(coarse * square);
    }
  }
  return weights;
}

function weigh(spectrum: Float32Array, weights: Float32Array): void {
  for (let k = 0; k < weights.length; k++) {
    spectrum[2 * k]! *= weights[k]!;
    spectrum[2 * k + 1]! *= weights[k]!;
  }
}

function crossPower(first: Float32Array, second: Float32Array): Float32Array {
  const cross = new Float32Array(first.length);
  for (let k = 0; k < first.length; k += 2) {
    const a = first[k]!;
    const b = first[k + 1]!;
    const c = second[k]!;
    const d = second[k + 1]!;
    const re = a * c + b * d;
    const im = a * d - b * c;
    const square = re * re + im * im;
    if (square === 0) continue;
    const scale = 1 / Math.sqrt(Math.sqrt(square));
    cross[k] = re * scale;
    cross[k + 1] = im * scale;
  }
  return cross;
}

function peakOf(surface: Float32Array, { widthPx, heightPx }: Shape): FoundShift {
  let best = 0;
  for (let i = 1; i < surface.length; i++) if (surface[i]! > surface[best]!) best = i;
  const [px, py] = [best % widthPx, Math.floor(best / widthPx)];
  const at = (dx: number, dy: number) =>
    surface[((py + dy + heightPx) % heightPx) * widthPx + ((px + dx + widthPx) % widthPx)]!;
  const column = (dx: number) => at(dx, -1) + at(dx, 0) + at(dx, 1);
  const row = (dy: number) => at(-1, dy) + at(0, dy) + at(1, dy);
  const signed = (value: number, length: number) => (value > length / 2 ? value - length : value);
  const every = Math.max(1, Math.floor(surface.length / 20_000)) | 1;
  const sample: number[] = [];
  for (let i = 0; i < surface.length; i += every) sample.push(Math.abs(surface[i]!));
  return {
    x: signed(px, widthPx) + vertex(column(-1), column(0), column(1)),
    y: signed(py, heightPx) + vertex(row(-1), row(0), row(1)),
    peakSigma: surface[best]! / (1.4826 * median(sample)! || Number.POSITIVE_INFINITY),
  };
}

/** Where a parabola through values at -1, 0 and 1 is highest. */
function vertex(before: number, middle: number, after: number): number {
  const curvature = before - 2 * middle + after;
  return curvature < 0 ? Math.max(-0.5, Math.min(0.5, (before - after) / (2 * curvature))) : 0;
}
