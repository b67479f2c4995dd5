import type { Master } from "../imaging/combining/finish-master.ts";
import { maskBits } from "../imaging/combining/mask-bits.ts";
import { converterCodes } from "../imaging/exposure/converter-codes.ts";
import { countCodes } from "../imaging/exposure/histogram.ts";
import { type UnhealthyPixels, unhealthyFromDark } from "../imaging/noise/unhealthy-pixels.ts";

/** Least difference between codes of the camera that took a frame [adu]. */
export function stepOfFrame(pixelsAdu: Uint16Array): number {
  return converterCodes(countCodes(pixelsAdu)).stepAdu;
}

/** Finds the hot, stuck and unsteady pixels of a dark, and marks them in its mask. @param stepAdu see `stepOfFrame` */
export function markUnhealthy(dark: Master, stepAdu: number): UnhealthyPixels {
  const { frameCount } = dark;
  const health = unhealthyFromDark(dark.meanAdu, dark.frameSigmaAdu, { frameCount, stepAdu });
  for (let i = 0; i < dark.mask.length; i++)
    if (health.unhealthyPx[i] === 1) dark.mask[i]! |= maskBits.unhealthy;
  return health;
}
