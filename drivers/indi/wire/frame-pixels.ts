import type { FitsPixels } from "../../formats/fits-pixels.ts";

/** Numbers that cannot be raw counts of a camera; which they are is not guessed. */
export class NotRawCountsError extends Error {}

/**
 * Raw counts as 16-bit words, whatever type they came in. 8-bit counts stay 0 to 255: nothing is stretched.
 * @throws NotRawCountsError for negative counts (unsigned words written without BZERO look so), counts above 65535,
 *   NaN, and fractions (normalised pictures)
 */
export function countsFrom(pixels: FitsPixels): Uint16Array {
  if (pixels instanceof Uint16Array) return pixels;
  if (pixels instanceof Uint8Array) return new Uint16Array(pixels);
  if (pixels instanceof Int16Array) return signedCounts(pixels);
  if (pixels instanceof Float32Array) return floatCounts(pixels);
  if (pixels instanceof Float64Array) return doubleCounts(pixels);
  return wideCounts(pixels);
}

// One function for each kind of array: a shared loop would be compiled for all of them and run many times slower.

function signedCounts(pixels: Int16Array): Uint16Array {
  for (let i = 0; i < pixels.length; i++) if (pixels[i]! < 0) throw badCount(pixels[i]!);
  return new Uint16Array(pixels.buffer as ArrayBuffer, pixels.byteOffset, pixels.length);
}

function wideCounts(pixels: Int32Array | Uint32Array): Uint16Array {
  const counts = new Uint16Array(pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    const value = pixels[i]!;
    if (value < 0 || value > 65535) throw badCount(value);
    counts[i] = value;
  }
  return counts;
}

function floatCounts(pixels: Float32Array): Uint16Array {
  const counts = new Uint16Array(pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    const value = pixels[i]!;
    const count = Math.round(value);
    if (!(Math.abs(value - count) < 1e-3 && count >= 0 && count <= 65535)) throw badCount(value);
    counts[i] = count;
  }
  return counts;
}

function doubleCounts(pixels: Float64Array): Uint16Array {
  const counts = new Uint16Array(pixels.length);
  for (let i = 0; i < pixels.length; i++) {
    const value = pixels[i]!;
    const count = Math.round(value);
    if (!(Math.abs(value - count) < 1e-3 && count >= 0 && count <= 65535)) throw badCount(value);
    counts[i] = count;
  }
  return counts;
}

function badCount(value: number): NotRawCountsError {
  return new NotRawCountsError(`a pixel of ${value} is no raw count (whole numbers from 0 to 65535)`);
}

/**
 * Counts without a header, little-endian as drivers write them.
 * @throws NotRawCountsError unless the bytes are exactly one plane of 8 or 16 bits of that size
 */
export function countsFromRaw(bytes: Uint8Array, widthPx: number, heightPx: number): Uint16Array {
  const count = widthPx * heightPx;
  if (bytes.length === count) return new Uint16Array(bytes);
  if (bytes.length !== 2 * count) {
    throw new NotRawCountsError(
      `${bytes.length} bytes without a header are no ${widthPx} x ${heightPx} frame of 8 or 16 bits`,
    );
  }
  // A copy: the words must lie at an even address. All machines that this runs on are little-endian.
  return new Uint16Array(bytes.slice().buffer);
}
