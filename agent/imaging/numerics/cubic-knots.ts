/** Uniform cubic B-splines along one side of a picture. */
export interface Knots {
  /** How many coefficients. */
  readonly count: number;
  /** The four that count at a place, from `first` on. */
  at(px: number): { readonly first: number; readonly share: readonly [number, number, number, number] };
}

/** Knots about `knotPx` apart, at least one span. Source: C. de Boor, A Practical Guide to Splines (1978), chapter IX. */
export function cubicKnots(lengthPx: number, knotPx: number): Knots {
  const spans = Math.max(1, Math.round(lengthPx / knotPx));
  return {
    count: spans + 3,
    at: (px) => {
      const place = ((px + 0.5) / lengthPx) * spans;
      const first = Math.min(spans - 1, Math.max(0, Math.floor(place)));
      const t = place - first;
      const s = 1 - t;
      return {
        first,
        share: [
          (s * s * s) / 6,
          (3 * t * t * t - 6 * t * t + 4) / 6,
          (3 * s * s * s - 6 * s * s + 4) / 6,
          (t * t * t) / 6,
        ],
      };
    },
  };
}
