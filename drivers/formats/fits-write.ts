import { given } from "../kit/given.ts";
import { toBigEndian } from "./byte-order.ts";
import type { Card } from "./fits-card.ts";
import { sumOfBytes } from "./fits-checksum.ts";
import { dataBytesOf, type HduPlan, headerBytes, paddedBytes } from "./fits-header-write.ts";
import { type FitsPixels, pixelTypeOf } from "./fits-pixels.ts";
import { writeWholeFile } from "./whole-file.ts";

export { utcText } from "./fits-header-write.ts";

export interface HduToWrite {
  /** Row-major, top row first. */
  readonly pixels?: FitsPixels;
  readonly shape?: readonly number[];
  readonly cards?: readonly Card[];
  readonly name?: string;
}

/**
 * A FITS file in memory; the first HDU becomes the primary one, further ones IMAGE extensions.
 * @param writtenUtcMs for DATE, UTC milliseconds since the epoch
 * @throws RangeError if pixels do not fit their shape
 */
export function encodeFits(hdus: readonly HduToWrite[], writtenUtcMs: number): Uint8Array {
  const plans = hdus.map(planOf);
  const header = (index: number, dataSum: number) =>
    headerBytes(plans[index]!, { index, hduCount: plans.length, writtenUtcMs, dataSum });
  const headerLengths = plans.map((_, index) => header(index, 0).length);
  const lengths = plans.map((plan, index) => headerLengths[index]! + paddedBytes(dataBytesOf(plan)));
  const whole = new Uint8Array(lengths.reduce((total, length) => total + length, 0));
  let start = 0;
  for (const [index, { pixels }] of hdus.entries()) {
    const end = start + lengths[index]!;
    const data = whole.subarray(start + headerLengths[index]!, end);
    if (pixels !== undefined) encodePixels(pixels, data);
    whole.set(header(index, sumOfBytes(data)), start);
    start = end;
  }
  return whole;
}

/** Writes a FITS file that is whole or absent. @throws an error with code EEXIST unless `replace` */
export function writeFitsFile(
  path: string,
  hdus: readonly HduToWrite[],
  options: { readonly writtenUtcMs: number; readonly replace: boolean },
): void {
  writeWholeFile(path, encodeFits(hdus, options.writtenUtcMs), options);
}

function planOf(hdu: HduToWrite): HduPlan {
  const { pixels } = hdu;
  const shape = hdu.shape ?? (pixels === undefined ? [] : [pixels.length]);
  const count = shape.length === 0 ? 0 : shape.reduce((product, length) => product * length, 1);
  if (count !== (pixels?.length ?? 0)) {
    throw new RangeError(`${pixels?.length ?? 0} pixels do not fill the shape ${shape.join(" x ")}`);
  }
  return {
    type: pixels === undefined ? "uint8" : pixelTypeOf(pixels),
    shape,
    ...given({ cards: hdu.cards, name: hdu.name }),
  };
}

/** Big-endian bytes of the pixels into `into`, which may be longer. */
export function encodePixels(pixels: FitsPixels, into: Uint8Array): void {
  const bytes = new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength);
  const unsigned = pixels instanceof Uint16Array || pixels instanceof Uint32Array;
  toBigEndian(bytes, into, pixels.BYTES_PER_ELEMENT as 1 | 2 | 4 | 8, unsigned ? "flip" : "keep");
}
