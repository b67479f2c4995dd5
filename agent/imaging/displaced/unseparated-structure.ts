import { fftLength, RealFft2d } from "../numerics/fft.ts";
import type { FftLibrary } from "../numerics/fft-library.ts";
import type { Shape } from "../numerics/shape.ts";
import { hann } from "../registration/shift-finder.ts";
import type { ObjectGrid, ShiftPx } from "./object-grid.ts";
import { unseparatedShare } from "./separation.ts";

/** The Sun is binned until its longer side is no more than this: structure finer than that is told apart by any shift. */
const sideMostPx = 256;
/** A mode of which no more than this looks the same in all frames tells the Sun's own power. */
const separableShare = 0.7;
const rings = 64;

export interface SolvedSun {
  /** Logarithm of the Sun's picture over the model, on the grid. */
  readonly object: Float32Array;
  readonly grid: ObjectGrid;
  /** Of the frames that were used. */
  readonly shifts: readonly ShiftPx[];
  /** How well each of them is known, one sigma an axis [px]. */
  readonly shiftSigmaPx: number;
  readonly ridge: number;
  readonly shape: Shape;
}

/**
 * Rms of the Sun's structure that stays in the gain, as a share of it. For each mode of the frame the solved power of the
 * Sun times what the solution leaves of it: (r / (1 - |S|² + r))² where r is the ridge over the number of frames, and
 * what shifts that are off by sigma make of it, (k sigma)² / (N (1 - |S|² + r)). Where a mode can't be told apart its
 * power is that of others as long: the Sun's structure has no direction of its own.
 */
export function measureUnseparated(library: FftLibrary, sun: SolvedSun): number {
  const { shifts, shiftSigmaPx, ridge } = sun;
  const { modes, stepX, stepY, power } = powerOf(library, sun);
  const r = ridge / shifts.length;
  const ringOf = (k: number) => Math.min(rings - 1, Math.floor((k / modes.kMost) * rings));
  const separable = { sum: new Float64Array(rings), count: new Float64Array(rings) };
  const shares = new Float64Array(power.length);
  forEachMode(modes, (index, u, v, weight) => {
    const share = unseparatedShare(shifts, u * stepX, v * stepY);
    shares[index] = share;
    if (share > separableShare) return;
    const ring = ringOf(Math.hypot(u * stepX, v * stepY));
    separable.sum[ring]! += weight * power[index]!;
    separable.count[ring]! += weight;
  });
  const usual = fillRings(separable);
  let left = 0;
  forEachMode(modes, (index, u, v, weight) => {
    if (u === 0 && v === 0) return; // the mean is set to 1 afterwards
    const k = Math.hypot(u * stepX, v * stepY);
    const apart = 1 - shares[index]! + r;
    const own = shares[index]! > separableShare ? usual[ringOf(k)]! : power[index]!;
    const wrongShifts = (2 * Math.PI * k * shiftSigmaPx) ** 2 / (shifts.length * apart);
    left += weight * own * Math.min(1, (r / apart) ** 2 + wrongShifts);
  });
  return Math.sqrt(left);
}

/** A ring of which nothing is told apart takes the power of the nearest that is; longer waves have no less. */
function fillRings({
  sum,
  count,
}: {
  readonly sum: Float64Array;
  readonly count: Float64Array;
}): Float64Array {
  const usual = new Float64Array(rings);
  let next = 0;
  for (let ring = rings - 1; ring >= 0; ring--) {
    if (count[ring]! > 0) next = sum[ring]! / count[ring]!;
    usual[ring] = next;
  }
  return usual;
}

interface Modes {
  readonly columns: number;
  readonly rows: number;
  readonly widthPx: number;
  /** Waves per pixel up to which rings are drawn. */
  readonly kMost: number;
}

/** @param visit weight 2 for a mode that stands for its conjugate too */
function forEachMode(
  { columns, rows, widthPx }: Modes,
  visit: (index: number, u: number, v: number, weight: number) => void,
): void {
  for (let row = 0; row < rows; row++) {
    const v = row > rows / 2 ? row - rows : row;
    for (let u = 0; u < columns; u++) visit(row * columns + u, u, v, u === 0 || u === widthPx / 2 ? 1 : 2);
  }
}

/** Power of each mode, whose sum is the variance of the picture. Steps are waves per full pixel between modes. */
function powerOf(
  library: FftLibrary,
  { object, grid, shape, shifts }: SolvedSun,
): { modes: Modes; stepX: number; stepY: number; power: Float64Array } {
  const side = Math.ceil(Math.max(shape.widthPx, shape.heightPx) / sideMostPx);
  const [width, height] = [Math.floor(shape.widthPx / side), Math.floor(shape.heightPx / side)];
  const padded = { widthPx: fftLength(width), heightPx: fftLength(height) };
  const middle = (axis: "x" | "y") => shifts.reduce((sum, shift) => sum + shift[axis], 0) / shifts.length;
  // The part of the Sun that a frame in the middle shows.
  const [left, top] = [Math.round(grid.originX - middle("x")), Math.round(grid.originY - middle("y"))];
  const [windowX, windowY] = [hann(width), hann(height)];
  const values = new Float64Array(width * height);
  let [sum, weights, squares] = [0, 0, 0];
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++) {
      let value = 0;
      for (let v = 0; v < side; v++)
        for (let u = 0; u < side; u++)
          value += object[(top + y * side + v) * grid.widthPx + left + x * side + u]!;
      values[y * width + x] = value / (side * side);
      const weight = windowX[x]! * windowY[y]!;
      sum += (weight * value) / (side * side);
      weights += weight;
      squares += weight * weight;
    }
  const picture = new Float32Array(padded.widthPx * padded.heightPx);
  for (let y = 0; y < height; y++)
    for (let x = 0; x < width; x++)
      picture[y * padded.widthPx + x] = (values[y * width + x]! - sum / weights) * windowX[x]! * windowY[y]!;
  using fft = new RealFft2d(library, padded);
  const spectrum = fft.newSpectrum();
  fft.forward(picture, spectrum);
  const columns = padded.widthPx / 2 + 1;
  const scale = squares * padded.widthPx * padded.heightPx;
  const power = new Float64Array(columns * padded.heightPx);
  for (let k = 0; k < power.length; k++)
    power[k] = (spectrum[2 * k]! ** 2 + spectrum[2 * k + 1]! ** 2) / scale;
  return {
    modes: { columns, rows: padded.heightPx, widthPx: padded.widthPx, kMost: 0.71 / side },
    stepX: 1 / (padded.widthPx * side),
    stepY: 1 / (padded.heightPx * side),
    power,
  };
}
