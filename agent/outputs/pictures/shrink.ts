import { encodePng } from "../png.ts";
import { type LevelRange, toGrey } from "../stretch.ts";

export interface FloatPicture {
  readonly widthPx: number;
  readonly heightPx: number;
  /** Row-major; NaN where nothing is known. */
  readonly pixels: Float32Array;
}

/**
 * Averages square blocks so that the picture is at most `widthPxMax` wide; NaN and masked pixels do not count.
 * @param mask 0 is a pixel to be trusted; absent, all are
 */
export function shrink(
  picture: {
    readonly widthPx: number;
    readonly heightPx: number;
    readonly pixels: Float32Array | Uint16Array;
  },
  widthPxMax: number,
  mask?: Uint8Array,
): FloatPicture {
  const block = Math.max(1, Math.ceil(picture.widthPx / widthPxMax));
  const widthPx = Math.floor(picture.widthPx / block);
  const heightPx = Math.floor(picture.heightPx / block);
  const pixels = new Float32Array(widthPx * heightPx);
  for (let y = 0; y < heightPx; y++) {
    for (let x = 0; x < widthPx; x++) {
      let sum = 0;
      let count = 0;
      for (let dy = 0; dy < block; dy++) {
        let i = (y * block + dy) * picture.widthPx + x * block;
        for (let dx = 0; dx < block; dx++, i++) {
          const value = picture.pixels[i]!;
          if ((mask && mask[i] !== 0) || Number.isNaN(value)) continue;
          sum += value;
          count++;
        }
      }
      pixels[y * widthPx + x] = count > 0 ? sum / count : Number.NaN;
    }
  }
  return { widthPx, heightPx, pixels };
}

export function greyPng({ widthPx, heightPx, pixels }: FloatPicture, range: LevelRange): Uint8Array {
  return encodePng({ widthPx, heightPx, bytes: toGrey(pixels, range) });
}
