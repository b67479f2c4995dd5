import type { FloatPicture } from "./shrink.ts";

/** Part of a picture, and where in it its first pixel lies. */
export interface Crop extends FloatPicture {
  readonly leftPx: number;
  readonly topPx: number;
}

/** A square window about a place, moved inside the picture where it would leave it. */
export function crop(
  picture: FloatPicture,
  window: { readonly xPx: number; readonly yPx: number; readonly sidePx: number },
): Crop {
  const sidePx = Math.min(window.sidePx, picture.widthPx, picture.heightPx);
  const place = (centre: number, size: number) =>
    Math.min(size - sidePx, Math.max(0, Math.round(centre - sidePx / 2)));
  const left = place(window.xPx, picture.widthPx);
  const top = place(window.yPx, picture.heightPx);
  const pixels = new Float32Array(sidePx * sidePx);
  for (let y = 0; y < sidePx; y++) {
    const start = (top + y) * picture.widthPx + left;
    pixels.set(picture.pixels.subarray(start, start + sidePx), y * sidePx);
  }
  return { widthPx: sidePx, heightPx: sidePx, pixels, leftPx: left, topPx: top };
}
