/** A colour of a filter array whose pixels are taken for a camera of their own. */
export type PlaneColour = "red" | "green" | "blue";

/** Distance of two pixels of one colour, along rows and columns [px]. */
export const mosaicPitchPx = 2;

const isPattern = (pattern: string) => /^[RGB]{4}$/.test(pattern);

/**
 * A pattern of 2 x 2 pixels, row by row, counted from another pixel: where a region begins, or by how much a driver says
 * that its sensor's pattern is shifted. Other patterns come back as they are.
 */
export function shiftMosaic(pattern: string, xPx: number, yPx: number): string {
  if (!isPattern(pattern)) return pattern;
  const at = (x: number, y: number) => pattern[2 * ((y + yPx) & 1) + ((x + xPx) & 1)]!;
  return at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1);
}

/** Place of a colour's first pixel in the pattern; of the two greens the one in the upper row. `undefined`: it has none. */
export function colourPlace(pattern: string, colour: PlaneColour): { x: 0 | 1; y: 0 | 1 } | undefined {
  const index = isPattern(pattern) ? pattern.indexOf(colour[0]!.toUpperCase()) : -1;
  return index < 0 ? undefined : { x: (index & 1) as 0 | 1, y: (index >> 1) as 0 | 1 };
}

/** Which pixels see most of a narrow line; where two dyes share the light the choice is a person's (common practice, no source). */
export function colourOfLine(wavelengthNm: number): PlaneColour {
  if (wavelengthNm >= 580) return "red";
  return wavelengthNm >= 495 ? "green" : "blue";
}

/** Every second pixel of every second row, from the given one. Shapes are rounded down. */
export function takePlane<T extends Uint16Array | Float32Array | Uint8Array>(
  pixels: T,
  { widthPx, heightPx }: { readonly widthPx: number; readonly heightPx: number },
  first: { readonly x: number; readonly y: number },
  out: T,
): T {
  const [planeWidth, planeHeight] = [widthPx >> 1, heightPx >> 1];
  for (let y = 0, i = 0; y < planeHeight; y++) {
    const start = (2 * y + first.y) * widthPx + first.x;
    for (let x = 0; x < planeWidth; x++) out[i++] = pixels[start + 2 * x]!;
  }
  return out;
}
