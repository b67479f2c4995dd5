/** Catmull-Rom weights of a row of pixels on a grid of samples. */
export interface Taps {
  /** Pixels from … to - 1 lie wholly on the plane. */
  readonly from: number;
  readonly to: number;
  /** First of the four samples of each pixel. */
  readonly first: Int32Array;
  readonly weights: Float32Array;
}

export function cubicTaps(
  offsetPx: number,
  count: number,
  step: number,
  start: number,
  samples: number,
): Taps {
  const first = new Int32Array(count);
  const weights = new Float32Array(4 * count);
  let from = count;
  let to = 0;
  for (let p = 0; p < count; p++) {
    const at = (offsetPx + p) / step - start;
    const base = Math.floor(at);
    if (base < 1 || base + 2 >= samples) continue;
    from = Math.min(from, p);
    to = p + 1;
    const t = at - base;
    first[p] = base - 1;
    weights[4 * p] = t * (-0.5 + t * (1 - 0.5 * t));
    weights[4 * p + 1] = 1 + t * t * (-2.5 + 1.5 * t);
    weights[4 * p + 2] = t * (0.5 + t * (2 - 1.5 * t));
    weights[4 * p + 3] = t * t * (-0.5 + 0.5 * t);
  }
  return { from, to, first, weights };
}

export function mixRows(
  line: Float32Array,
  plane: Float32Array,
  start: number,
  width: number,
  weights: Float32Array,
  w: number,
  scale: number,
): void {
  const w0 = weights[w]! * scale;
  const w1 = weights[w + 1]! * scale;
  const w2 = weights[w + 2]! * scale;
  const w3 = weights[w + 3]! * scale;
  for (let i = 0, a = start; i < width; i++, a++) {
    line[i] =
      w0 * plane[a]! + w1 * plane[a + width]! + w2 * plane[a + 2 * width]! + w3 * plane[a + 3 * width]!;
  }
}

export function sampleRow(
  out: Float32Array,
  start: number,
  line: Float32Array,
  first: Int32Array,
  weights: Float32Array,
  from: number,
  to: number,
): void {
  for (let x = from; x < to; x++) {
    const a = first[x]!;
    const w = 4 * x;
    const value =
      weights[w]! * line[a]! +
      weights[w + 1]! * line[a + 1]! +
      weights[w + 2]! * line[a + 2]! +
      weights[w + 3]! * line[a + 3]!;
    if (value > 0) out[start + x]! += value; // the cubic undershoots a little outside a sharp limb
  }
}
