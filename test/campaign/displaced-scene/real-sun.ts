import { readFileSync } from "node:fs";
import { join } from "node:path";
import { decode } from "fast-png";

/** Credit: NASA/SDO and the AIA science team; see the README beside the picture. */
const file = join(import.meta.dirname, "../../data/sun-2013-06-24-193-512.png");

/**
 * A real picture of the Sun, enlarged twice, its contrast brought down to that rms of the logarithm over the middle
 * `viewPx`: a hostile surface.
 */
export function realSun(rms: number, viewPx: number): Float64Array {
  const { data, width } = decode(readFileSync(file));
  const side = 2 * width;
  const log = Float64Array.from({ length: side * side }, (_, i) => {
    const x = Math.min(width - 1.001, Math.max(0, (i % side) / 2 - 0.25));
    const y = Math.min(width - 1.001, Math.max(0, Math.floor(i / side) / 2 - 0.25));
    const [left, top] = [Math.floor(x), Math.floor(y)];
    const at = (dx: number, dy: number) => data[(top + dy) * width + left + dx]!;
    const above = at(0, 0) * (1 - x + left) + at(1, 0) * (x - left);
    const below = at(0, 1) * (1 - x + left) + at(1, 1) * (x - left);
    return Math.log(8 + above * (1 - y + top) + below * (y - top));
  });
  const view = log.filter(
    (_, i) => Math.abs((i % side) - side / 2) < viewPx / 2 && Math.abs(i / side - side / 2) < viewPx / 2,
  );
  const mean = view.reduce((sum, value) => sum + value, 0) / view.length;
  const spread = Math.sqrt(view.reduce((sum, value) => sum + (value - mean) ** 2, 0) / view.length);
  return log.map((value) => Math.exp((rms * (value - mean)) / spread));
}
