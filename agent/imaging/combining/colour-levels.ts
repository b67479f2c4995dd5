import type { Shape } from "../numerics/shape.ts";

/**
 * Means of a picture by the place in squares of 2 x 2 pixels, row by row: behind a colour filter array pixels of one place see one
 * colour.
 */
export type ColourLevels = readonly [number, number, number, number];

/** Which of the four a pixel belongs to. */
export function colourPlace(x: number, y: number): 0 | 1 | 2 | 3 {
  return (2 * (y & 1) + (x & 1)) as 0 | 1 | 2 | 3;
}

/** Over trusted pixels; 1 where there are none. @param mask 0 of a trusted pixel */
export function colourLevels(values: Float32Array, mask: Uint8Array, { widthPx }: Shape): ColourLevels {
  const sums = [0, 0, 0, 0];
  const counts = [0, 0, 0, 0];
  for (let i = 0, x = 0, y = 0; i < values.length; i++) {
    if (mask[i] === 0) {
      const place = colourPlace(x, y);
      sums[place]! += values[i]!;
      counts[place]!++;
    }
    if (++x === widthPx) {
      x = 0;
      y++;
    }
  }
  const mean = (place: number) => (counts[place] === 0 ? 1 : sums[place]! / counts[place]!);
  return [mean(0), mean(1), mean(2), mean(3)];
}

/** The same levels counted from another pixel: where a region of the frame begins. */
export function shiftLevels(levels: ColourLevels, x: number, y: number): ColourLevels {
  const at = (u: number, v: number) => levels[colourPlace(x + u, y + v)];
  return [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
}

/** Brings the colours of a picture to its mean level, in place: what is left is what the optics do. */
export function equaliseColours(values: Float32Array, mask: Uint8Array, shape: Shape): ColourLevels {
  const levels = colourLevels(values, mask, shape);
  const mean = levels.reduce((sum, level) => sum + level, 0) / 4;
  for (let i = 0, x = 0, y = 0; i < values.length; i++) {
    const level = levels[colourPlace(x, y)];
    if (level > 0) values[i]! *= mean / level;
    if (++x === shape.widthPx) {
      x = 0;
      y++;
    }
  }
  return levels;
}
