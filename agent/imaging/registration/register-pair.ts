import type { FftLibrary } from "../numerics/fft.ts";
import { gaussianBlur } from "../numerics/gaussian-blur.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { hann, ShiftFinder } from "./shift-finder.ts";

export interface PairRegistration {
  /** How far the second picture's pattern lies from the first's [px]; x right, y down. */
  readonly shift: { readonly x: number; readonly y: number };
  readonly peakSigma: number;
  /** Normalised correlation of both patterns over the overlap at that shift: what decides whether they are one. */
  readonly correlation: number;
  /** The same with no shift. */
  readonly correlationAtZero: number;
  /** Rms of the first's and the second's pattern, of logarithms. */
  readonly patternRms: readonly [number, number];
}

const pattern = { fineSigmaPx: 1.5, coarseSigmaPx: 12 };

/**
 * Registers two pictures by their small structure, that is dust: Gaussian σ 1.5 less σ 12 px of the logarithm. Large
 * scales, which change with blur and altitude, have no say.
 * @param first levels above the dark or gains, any scale; NaN, zero or less where there is nothing
 */
export function registerPair(
  library: FftLibrary,
  first: Float32Array,
  second: Float32Array,
  shape: Shape,
): PairRegistration {
  const [a, b] = [patternOf(first, shape), patternOf(second, shape)];
  using finder = new ShiftFinder(library, shape, pattern);
  const { x, y, peakSigma } = finder.between(finder.spectrumOf(a.log), finder.spectrumOf(b.log));
  return {
    shift: { x, y },
    peakSigma,
    correlation: correlationAt(a.fine, b.fine, shape, { x, y }),
    correlationAtZero: correlationAt(a.fine, b.fine, shape, { x: 0, y: 0 }),
    patternRms: [rms(a.fine), rms(b.fine)],
  };
}

/** Logarithm, and its small structure under a Hann window; NaN where there is nothing. */
function patternOf(picture: Float32Array, shape: Shape): { log: Float32Array; fine: Float32Array } {
  checkShape(picture, shape);
  const use = new Uint8Array(picture.length);
  const log = new Float32Array(picture.length);
  for (let i = 0; i < log.length; i++) {
    use[i] = picture[i]! > 0 ? 1 : 0;
    log[i] = use[i] === 1 ? Math.log(picture[i]!) : Number.NaN;
  }
  const fine = gaussianBlur(log, shape, pattern.fineSigmaPx, use);
  const coarse = gaussianBlur(log, shape, pattern.coarseSigmaPx, use);
  // A filter is one-sided at the edges, and what it makes of them is no dust: the window takes it out.
  const [windowX, windowY] = [hann(shape.widthPx), hann(shape.heightPx)];
  for (let i = 0; i < fine.length; i++) {
    const window = windowX[i % shape.widthPx]! * windowY[Math.floor(i / shape.widthPx)]!;
    fine[i] = use[i] === 1 ? (fine[i]! - coarse[i]!) * window : Number.NaN;
  }
  return { log, fine };
}

/** Pearson's coefficient of first(x) and second(x + shift), the second sampled bilinearly. 0 with too little overlap. */
export function correlationAt(
  first: Float32Array,
  second: Float32Array,
  shape: Shape,
  shift: { readonly x: number; readonly y: number },
): number {
  const { widthPx, heightPx } = shape;
  const [dx, dy] = [Math.floor(shift.x), Math.floor(shift.y)];
  const [fx, fy] = [shift.x - dx, shift.y - dy];
  const right = fx > 0 ? 1 : 0;
  const down = fy > 0 ? widthPx : 0;
  let [n, sa, sb, saa, sbb, sab] = [0, 0, 0, 0, 0, 0];
  for (let y = Math.max(0, -dy); y < Math.min(heightPx, heightPx - dy - (fy > 0 ? 1 : 0)); y++) {
    for (let x = Math.max(0, -dx); x < Math.min(widthPx, widthPx - dx - right); x++) {
      const a = first[y * widthPx + x]!;
      const at = (y + dy) * widthPx + x + dx;
      const upper = second[at]! * (1 - fx) + second[at + right]! * fx;
      const lower = second[at + down]! * (1 - fx) + second[at + down + right]! * fx;
      const b = upper * (1 - fy) + lower * fy;
      if (Number.isNaN(a) || Number.isNaN(b)) continue;
      n++;
      sa += a;
      sb += b;
      saa += a * a;
      sbb += b * b;
      sab += a * b;
    }
  }
  if (n < 64) return 0;
  const spread = (saa - (sa * sa) / n) * (sbb - (sb * sb) / n);
  return spread > 0 ? (sab - (sa * sb) / n) / Math.sqrt(spread) : 0;
}

function rms(values: Float32Array): number {
  let [sum, count] = [0, 0];
  for (const value of values) {
    if (Number.isNaN(value)) continue;
    sum += value * value;
    count++;
  }
  return Math.sqrt(sum / Math.max(1, count));
}
