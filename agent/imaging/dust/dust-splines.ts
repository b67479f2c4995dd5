import type { Knots } from "../numerics/cubic-knots.ts";

/** Of each place, the sixteen cubic splines that reach it: four rows of four, `stride` apart from `first` on. */
export interface Splines {
  readonly first: Int32Array;
  readonly stride: number;
  readonly share: Float64Array;
}

/** @param x, y places [px], as many of each; `across` and `down` are the knots of the frame's width and height */
export function splinesAt(x: ArrayLike<number>, y: ArrayLike<number>, across: Knots, down: Knots): Splines {
  const first = new Int32Array(x.length);
  const share = new Float64Array(16 * x.length);
  for (let c = 0; c < x.length; c++) {
    const [u, v] = [across.at(x[c]!), down.at(y[c]!)];
    first[c] = v.first * across.count + u.first;
    for (let s = 0; s < 16; s++) share[16 * c + s] = v.share[s >> 2]! * u.share[s & 3]!;
  }
  return { first, stride: across.count, share };
}

/** What the places say of the splines: the lower triangle of a normal matrix of n × n unknowns, splines first. */
export function splineNormal(
  weight: ArrayLike<number>,
  { first, stride, share }: Splines,
  n: number,
): Float64Array {
  const normal = new Float64Array(n * n);
  for (let c = 0; c < first.length; c++)
    for (let a = 0; a < 16; a++) {
      const row = (first[c]! + (a >> 2) * stride + (a & 3)) * n + first[c]!;
      const one = weight[c]! * share[16 * c + a]!;
      for (let b = 0; b <= a; b++) normal[row + (b >> 2) * stride + (b & 3)]! += one * share[16 * c + b]!;
    }
  return normal;
}
