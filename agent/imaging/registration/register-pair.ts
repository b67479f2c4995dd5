import type { FftLibrary } from "../numerics/fft-library.ts";
import { checkShape, type Shape } from "../numerics/shape.ts";
import { type FoundShift, ShiftFinder } from "./shift-finder.ts";

/**
 * Where the second picture's content lies from the first's, by their small structure: Gaussian σ 1.5 less σ 12 px of the
 * logarithm. Large scales, which change with blur and altitude, have no say.
 * @param first levels above the dark or gains, any scale; NaN, zero or less where there is nothing
 */
export function registerPair(
  library: FftLibrary,
  first: Float32Array,
  second: Float32Array,
  shape: Shape,
): FoundShift {
  const [a, b] = [logOf(first, shape), logOf(second, shape)];
  using finder = new ShiftFinder(library, shape, { fineSigmaPx: 1.5, coarseSigmaPx: 12 });
  return finder.between(finder.spectrumOf(a), finder.spectrumOf(b));
}

function logOf(picture: Float32Array, shape: Shape): Float32Array {
  checkShape(picture, shape);
  return picture.map((level) => (level > 0 ? Math.log(level) : Number.NaN));
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
