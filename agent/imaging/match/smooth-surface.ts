import { leastSquares } from "../numerics/linear-solve.ts";
import { fillInto } from "../numerics/map-into.ts";
import type { Shape } from "../numerics/shape.ts";

/** Vignetting is even in the distance from the axis; its fourth power follows the corners. */
const degree = 4;
const samples = 2500;

/**
 * Takes vignetting and the fall of the light over the frame off a picture's logarithm, in place: filters are one-sided at
 * the border of what is known, and make of a slope there what looks like dust. A polynomial in x and y, least squares.
 * @param log row-major, of the shape
 * @param use 1 where the logarithm is told; too few such pixels leave it as it is
 */
export function subtractSmoothSurface(
  log: Float32Array,
  { widthPx, heightPx }: Shape,
  use: Uint8Array,
): void {
  const stepPx = Math.max(1, Math.floor(Math.sqrt(log.length / samples)));
  const [columns, lines] = [powers(widthPx), powers(heightPx)];
  const rows: number[][] = [];
  const values: number[] = [];
  for (let y = stepPx >> 1; y < heightPx; y += stepPx)
    for (let x = stepPx >> 1; x < widthPx; x += stepPx) {
      const i = y * widthPx + x;
      if (use[i] !== 1) continue;
      rows.push(terms.map(([p, q]) => columns[p]![x]! * lines[q]![y]!));
      values.push(log[i]!);
    }
  const fit = rows.length > 10 * terms.length ? leastSquares(rows, values) : undefined;
  if (!fit) return;
  for (let y = 0; y < heightPx; y++) {
    // Along one line it is a polynomial of x alone.
    const along = new Float64Array(degree + 1);
    terms.forEach(([p, q], k) => {
      along[p]! += fit.solution[k]! * lines[q]![y]!;
    });
    for (let x = 0; x < widthPx; x++) {
      let surface = 0;
      for (let p = degree; p >= 0; p--) surface = surface * columns[1]![x]! + along[p]!;
      log[y * widthPx + x]! -= surface;
    }
  }
}

/** Exponents of x and y, together at most `degree`. */
const terms = Array.from({ length: degree + 1 }, (_, p) =>
  Array.from({ length: degree + 1 - p }, (__, q) => [p, q] as const),
).flat();

/** Powers of a pixel's place, from -1 at the first to 1 at the last. */
function powers(length: number): readonly Float64Array[] {
  return Array.from({ length: degree + 1 }, (_, power) =>
    fillInto(new Float64Array(length), (i) => ((2 * i + 1) / length - 1) ** power),
  );
}
