import { closeSync, fstatSync, openSync, readSync } from "node:fs";
import { FitsError } from "./fits-error.ts";
import { blockBytes, type FitsHeader, parseHeader } from "./fits-header.ts";
import {
  decodePixels,
  decodePixelsInPlace,
  type FitsPixels,
  type PixelLayout,
  pixelLayout,
} from "./fits-pixels.ts";
import { type FitsSource, type FoundHdu, findHdus } from "./fits-read.ts";

/**
 * A FITS file read part by part, so that memory does not grow with the file. Reads are positional and
 * synchronous: measured faster than asynchronous ones from disk.
 */
export class FitsFile implements Disposable {
  readonly #handle: number;
  readonly hdus: readonly FoundHdu[];

  private constructor(
    readonly path: string,
    handle: number,
  ) {
    this.#handle = handle;
    this.hdus = [...findHdus(sourceOf(path, handle))];
  }

  /** Reads the headers. @throws FitsError, and the file system's errors */
  static open(path: string): FitsFile {
    const handle = openSync(path, "r");
    try {
      return new FitsFile(path, handle);
    } catch (error) {
      closeSync(handle);
      throw error;
    }
  }

  /**
   * The first image, or the one with that EXTNAME.
   * @throws FitsError if there is none
   */
  image(name?: string): FitsFileImage {
    const found = this.findImage(name);
    if (found === undefined) {
      throw new FitsError(`${this.path}: holds no image${name === undefined ? "" : ` named ${name}`}`);
    }
    return found;
  }

  findImage(name?: string): FitsFileImage | undefined {
    const hdu = this.hdus.find(
      ({ extent, header }) =>
        extent.isImage &&
        extent.dataBytes > 0 &&
        (name === undefined || header.text("EXTNAME")?.trim().toUpperCase() === name.toUpperCase()),
    );
    return hdu === undefined ? undefined : new FitsFileImage(this.path, this.#handle, hdu);
  }

  close(): void {
    closeSync(this.#handle);
  }

  [Symbol.dispose](): void {
    this.close();
  }
}

/** An image whose pixels stay in the file until rows are asked for. */
export class FitsFileImage {
  readonly header: FitsHeader;
  /** Slowest axis first. */
  readonly shape: readonly number[];
  readonly widthPx: number;
  /** All rows of all planes. */
  readonly rowCount: number;
  readonly layout: PixelLayout;
  /** Where its pixels start in the file. */
  readonly startBytes: number;

  constructor(
    readonly path: string,
    /** Of the open file; the FitsFile closes it. */
    readonly handle: number,
    hdu: FoundHdu,
  ) {
    this.header = hdu.header;
    this.shape = hdu.extent.shape;
    this.layout = pixelLayout(hdu.header, path);
    this.widthPx = this.shape.at(-1)!;
    this.rowCount = this.shape.slice(0, -1).reduce((product, length) => product * length, 1);
    this.startBytes = hdu.dataStartBytes;
  }

  /** Decoded pixels of whole rows, in the array type that `layout.type` names. */
  readRows(firstRow: number, rowCount: number): FitsPixels {
    return this.readPixels(firstRow * this.widthPx, rowCount * this.widthPx);
  }

  /** The same for any run of pixels, row-major. @throws RangeError outside the image; FitsError if the file shrank */
  readPixels(firstPixel: number, pixelCount: number): FitsPixels {
    const raw = this.newRaw(pixelCount);
    this.readRaw(firstPixel, raw);
    return this.decodeRaw(raw);
  }

  /** Room for that many pixels as they lie in the file. */
  newRaw(pixelCount: number): Uint8Array<ArrayBuffer> {
    return new Uint8Array(pixelCount * this.layout.bytesPerPixel);
  }

  /** What `readRaw` has read, decoded; `raw` is used up, its bytes may become the pixels. */
  decodeRaw(raw: Uint8Array<ArrayBuffer>): FitsPixels {
    return this.layout.linear === undefined
      ? decodePixelsInPlace(raw, this.layout)
      : decodePixels(raw, this.layout);
  }

  /** Pixels as they lie in the file, big-endian; the length of `into` says how many. */
  readRaw(firstPixel: number, into: Uint8Array): void {
    const { bytesPerPixel } = this.layout;
    if (firstPixel < 0 || firstPixel + into.length / bytesPerPixel > this.rowCount * this.widthPx) {
      throw new RangeError(
        `${into.length} bytes from pixel ${firstPixel} on are outside the image of ${this.path}`,
      );
    }
    if (readFully(this.handle, into, this.startBytes + firstPixel * bytesPerPixel) < into.length) {
      throw new FitsError(`${this.path}: became shorter while it was read`);
    }
  }
}

/** More than any header of a device; a file without END is not read whole. */
const headerBytesMax = 8 << 20;

function sourceOf(path: string, handle: number): FitsSource {
  const totalBytes = fstatSync(handle).size;
  const read = (start: number, length: number) => {
    const bytes = new Uint8Array(length);
    readFully(handle, bytes, start);
    return bytes;
  };
  return {
    what: path,
    totalBytes,
    beginning: (start) => read(start, Math.min(blockBytes, totalBytes - start)),
    header(start) {
      const available = Math.min(totalBytes - start, headerBytesMax);
      for (let length = 4 * blockBytes; ; length *= 4) {
        const parsed = parseHeader(read(start, Math.min(length, available)), path);
        if (parsed !== undefined || length >= available) return parsed;
      }
    },
  };
}

/** @returns bytes read; less than asked for at the end of the file */
export function readFully(handle: number, into: Uint8Array, positionBytes: number): number {
  let done = 0;
  while (done < into.length) {
    const count = readSync(handle, into, done, into.length - done, positionBytes + done);
    if (count === 0) break;
    done += count;
  }
  return done;
}
