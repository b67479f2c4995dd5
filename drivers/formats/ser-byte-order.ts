import type { ByteOrder } from "./ser.ts";

/**
 * Which byte order makes a picture of 16-bit values, by how much neighbours differ beside how much all pixels
 * differ. Read the wrong way round, the noisy byte comes first and neighbours differ as much as any two pixels.
 * Own rule; no source.
 * @param bytes one frame as it lies in the file
 * @returns `undefined` where both make equally good a picture: nothing but noise, or one of the two bytes constant
 */
export function byteOrderOfPicture(bytes: Uint8Array, widthPx: number): ByteOrder | undefined {
  const little = roughness(bytes, widthPx, 0);
  const big = roughness(bytes, widthPx, 1);
  if (little === undefined || big === undefined) return undefined;
  if (little < clearly * big) return "little";
  return big < clearly * little ? "big" : undefined;
}

/** The wrong order of a disc with its limb is 2 to 10 times rougher. */
const clearly = 0.6;
const samplesMax = 200_000;

/** Mean difference of neighbours beside the mean distance from the mean; 1.4 for white noise. */
function roughness(bytes: Uint8Array, widthPx: number, lowByte: 0 | 1): number | undefined {
  const pxCount = bytes.length >> 1;
  const stride = Math.max(1, Math.floor(pxCount / samplesMax)) | 1;
  const value = (px: number) => bytes[2 * px + lowByte]! + 256 * bytes[2 * px + 1 - lowByte]!;
  let sum = 0;
  let steps = 0;
  let count = 0;
  for (let px = 0; px + 1 < pxCount; px += stride) {
    if (px % widthPx === widthPx - 1) continue;
    sum += value(px);
    steps += Math.abs(value(px + 1) - value(px));
    count++;
  }
  const mean = sum / count;
  let spread = 0;
  for (let px = 0; px + 1 < pxCount; px += stride)
    if (px % widthPx !== widthPx - 1) spread += Math.abs(value(px) - mean);
  return spread > 0 ? steps / spread : undefined;
}
