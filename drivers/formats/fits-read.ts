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
  const source: FitsSource = {
    what,
    totalBytes: bytes.length,
    beginning: (start) => bytes.subarray(start),
    header: (start) => parseHeader(bytes.subarray(start), what),
  };
  return Array.from(findHdus(source), ({ header, extent: { shape, isImage, dataBytes }, dataStartBytes }) => {
    const data = bytes.subarray(dataStartBytes, dataStartBytes + dataBytes);
    const pixels = isImage && dataBytes > 0 ? decode(data, pixelLayout(header, what)) : undefined;
    return { header, shape, pixels };
  });
}

/** An HDU whose data stay where they are. */
export interface FoundHdu {
  readonly header: FitsHeader;
  readonly extent: DataExtent;
  /** From the start of the file. */
  readonly dataStartBytes: number;
}

/** FITS bytes in memory or in a file. */
export interface FitsSource {
  /** Names it in an error. */
  readonly what: string;
  readonly totalBytes: number;
  /** What follows, as far as it is at hand: a block at least, or all that is left. */
  beginning(startBytes: number): Uint8Array;
  /** `undefined`: there is no END. */
  header(startBytes: number): ReturnType<typeof parseHeader>;
}

/** One HDU after the other, so that each is read before the next is looked for. @throws FitsError */
export function* findHdus({
  what,
  totalBytes,
  beginning,
  header: headerAt,
}: FitsSource): Generator<FoundHdu> {
  let count = 0;
  let start = 0;
  while (start < totalBytes) {
    const first = beginning(start);
    if (count > 0 && isPadding(first)) break;
    checkStart(first.subarray(0, 9), count, what);
    const parsed = headerAt(start);
    if (!parsed) throw new FitsError(`${what}: header ${count} has no END; the file is cut short`);
    const { header, headerBytes } = parsed;
    const extent = dataExtent(header, what);
    const dataStartBytes = start + headerBytes;
    checkLength(extent, Math.max(0, totalBytes - dataStartBytes), count, what);
    yield { header, extent, dataStartBytes };
    count++;
    start = dataStartBytes + Math.ceil(extent.dataBytes / blockBytes) * blockBytes;
  }
  if (count === 0) throw new FitsError(`${what}: empty`);
}

/** @throws FitsError unless an HDU can start with these bytes */
function checkStart(first: Uint8Array, hduIndex: number, what: string): void {
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
function isPadding(rest: Uint8Array): boolean {
  return rest.every((byte) => byte === 0 || byte === 0x20);
}

function checkLength(extent: DataExtent, foundBytes: number, hduIndex: number, what: string): void {
  if (foundBytes < extent.dataBytes) {
    throw new FitsError(
      `${what}: HDU ${hduIndex} should hold ${extent.dataBytes} bytes of data and has ${foundBytes}; the file is cut short`,
    );
  }
}

/** @throws FitsError for axes that are not whole numbers from 0 */
function dataExtent(header: FitsHeader, what: string): DataExtent {
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
