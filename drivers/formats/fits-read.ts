import { FitsError } from "./fits-error.ts";
import { blockBytes, type FitsHeader, parseHeader } from "./fits-header.ts";
import { decodePixels, decodePixelsInto, type FitsPixels, pixelLayout } from "./fits-pixels.ts";

export { FitsError } from "./fits-error.ts";
export { FitsHeader } from "./fits-header.ts";
export type { FitsPixels } from "./fits-pixels.ts";

/** One header with its data. */
export interface FitsHdu {
  readonly header: FitsHeader;
  /** Slowest axis first: an image is [heightPx, widthPx]; empty without data. */
  readonly shape: readonly number[];
  /** Row-major, first pixel of the file first; `undefined` without data, or if it is not an image. */
  readonly pixels: FitsPixels | undefined;
}

/** Where an HDU's data lie and how they are meant. */
export interface DataExtent {
  readonly isImage: boolean;
  readonly shape: readonly number[];
  readonly dataBytes: number;
}

/**
 * All HDUs of a FITS file in memory. A last block that is cut short after the last pixel is accepted, as real
 * devices write it; missing pixels are not.
 * @param what names the bytes in an error, for instance the file
 * @throws FitsError
 */
export function readFits(bytes: Uint8Array, what = "FITS data"): FitsHdu[] {
  return readHdus(bytes, what, decodePixels);
}

/** The same for bytes that nobody else needs: the pixels are made in their place, which saves a copy of a frame. */
export function readFitsInPlace(bytes: Uint8Array, what = "FITS data"): FitsHdu[] {
  return readHdus(bytes, what, decodePixelsInto);
}

function readHdus(bytes: Uint8Array, what: string, decode: typeof decodePixels): FitsHdu[] {
  const hdus: FitsHdu[] = [];
  let start = 0;
  while (start < bytes.length) {
    if (hdus.length > 0 && isPadding(bytes.subarray(start))) break;
    checkStart(bytes.subarray(start, start + 9), hdus.length, what);
    const parsed = parseHeader(bytes.subarray(start), what);
    if (parsed === undefined)
      throw new FitsError(`${what}: header ${hdus.length} has no END; the file is cut short`);
    const { header, headerBytes } = parsed;
    const extent = dataExtent(header, what);
    const dataStart = start + headerBytes;
    const found = Math.max(0, bytes.length - dataStart);
    checkLength(extent, found, hdus.length, what);
    hdus.push({
      header,
      shape: extent.shape,
      pixels:
        extent.isImage && extent.dataBytes > 0
          ? decode(bytes.subarray(dataStart, dataStart + extent.dataBytes), pixelLayout(header, what))
          : undefined,
    });
    start = dataStart + Math.ceil(extent.dataBytes / blockBytes) * blockBytes;
  }
  if (hdus.length === 0) throw new FitsError(`${what}: empty`);
  return hdus;
}

/** @throws FitsError unless an HDU can start with these bytes */
export function checkStart(first: Uint8Array, hduIndex: number, what: string): void {
  const text = String.fromCharCode(...first);
  if (hduIndex === 0 ? !/^SIMPLE {2}=/.test(text) : !/^XTENSION=/.test(text)) {
    throw new FitsError(
      hduIndex === 0
        ? `${what}: not a FITS file (it does not begin with SIMPLE)`
        : `${what}: what follows HDU ${hduIndex - 1} is no extension`,
    );
  }
}

/** Some writers fill the file with zeros or blanks past the last block. */
export function isPadding(rest: Uint8Array): boolean {
  return rest.every((byte) => byte === 0 || byte === 0x20);
}

export function checkLength(extent: DataExtent, foundBytes: number, hduIndex: number, what: string): void {
  if (foundBytes < extent.dataBytes) {
    throw new FitsError(
      `${what}: HDU ${hduIndex} should hold ${extent.dataBytes} bytes of data and has ${foundBytes}; the file is cut short`,
    );
  }
}

/** @throws FitsError for axes that are not whole numbers from 0 */
export function dataExtent(header: FitsHeader, what: string): DataExtent {
  const axisCount = whole(header, "NAXIS", what);
  const lengths: number[] = [];
  for (let axis = 1; axis <= axisCount; axis++) lengths.push(whole(header, `NAXIS${axis}`, what));
  const bytesPerValue = Math.abs(header.number("BITPIX") ?? 8) / 8;
  const extension = header.text("XTENSION")?.trim();
  const isImage = extension === undefined ? header.logical("GROUPS") !== true : extension === "IMAGE";
  const count = lengths.length === 0 ? 0 : lengths.reduce((product, length) => product * length, 1);
  const heap = extension === undefined ? 0 : (header.number("PCOUNT") ?? 0);
  const groups = extension === undefined ? 1 : (header.number("GCOUNT") ?? 1);
  const dataBytes = groups * (heap + count) * bytesPerValue;
  if (!Number.isSafeInteger(dataBytes) || dataBytes < 0)
    throw new FitsError(`${what}: impossible size of data`);
  return { isImage, shape: lengths.reverse(), dataBytes };
}

function whole(header: FitsHeader, keyword: string, what: string): number {
  const value = header.number(keyword);
  if (
    value === undefined ||
    !Number.isSafeInteger(value) ||
    value < 0 ||
    (keyword === "NAXIS" && value > 999)
  ) {
    throw new FitsError(
      `${what}: ${keyword} is ${String(header.value(keyword))}; a whole number from 0 is needed`,
    );
  }
  return value;
}
