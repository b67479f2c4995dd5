import {
  emptyFigures,
  type PixelStatistics,
  pixelByPixel,
} from "../../agent/imaging/combining/first-frames.ts";

/** In plain TypeScript and float64: what the compiled one is held to. */
export const plainStatistics: PixelStatistics = (frames, darkAdu, clipAdu) => {
  const found = emptyFigures(darkAdu.length);
  const onePixel = pixelByPixel(frames, darkAdu, clipAdu, found);
  for (let px = 0; px < darkAdu.length; px++) onePixel(px);
  return found;
};
