import { closeSync, fstatSync, openSync } from "node:fs";
import { FitsError } from "./fits-error.ts";
import { blockBytes, FitsHeader, parseHeader } from "./fits-header.ts";
import {
  decodePixels,
  decodePixelsInPlace,
  type FitsPixels,
  type PixelLayout,
  pixelLayout,
} from "./fits-pixels.ts";
import { type FitsSource, type FoundHdu, findHdus } from "./fits-read.ts";
import { gunzipToScratch, isGzip } from "./gunzip.ts";
import { readFully } from "./read-fully.ts";
import { ScratchFile } from "./scratch-file.ts";
import { hduBeforeTiling, isTiled, unpackTiles } from "./tiled/unpack-tiles.ts";

/**
 * A FITS file read part by part, so that memory does not grow with the file. Reads are positional and
 * synchronous: measured faster than asynchronous ones from disk. What is packed (gzip, compressed tiles) is unpacked
 * onto the disk first, and read from there.
 */
export class FitsFile implements Disposable {
  readonly #handle: number;
  /** As before they were compressed in tiles. */
  readonly hdus: readonly FoundHdu[];
  readonly #tiled = new Map<FoundHdu, FoundHdu>();
  readonly #unpacked = new Map<FoundHdu, ScratchFile>();

  private constructor(
    readonly path: string,
    handle: number,
    /** What `handle` belongs to, of a file packed as a whole. */
    private readonly whole: ScratchFile | undefined,
  ) {
    this.#handle = handle;
    this.hdus = Array.from(findHdus(sourceOf(path, handle)), (hdu) => {
      if (!isTiled(hdu)) return hdu;
      const plain = hduBeforeTiling(hdu, path);
      this.#tiled.set(plain, hdu);
      return plain;
    });
  }

  /** Reads the headers. @throws FitsError, and the file system's errors */
  static open(path: string): FitsFile {
    const handle = openSync(path, "r");
    let whole: ScratchFile | undefined;
    try {
      if (!isGzip(handle)) return new FitsFile(path, handle, undefined);
      whole = gunzipToScratch(path);
      const file = new FitsFile(path, whole.handle, whole);
      closeSync(handle);
      return file;
    } catch (error) {
      closeSync(handle);
      whole?.close();
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
    if (hdu === undefined) return undefined;
    const packed = this.#tiled.get(hdu);
    const handle = packed === undefined ? this.#handle : this.#unpack(hdu, packed).handle;
    return new FitsFileImage(this.path, handle, {
      header: hdu.header,
      shape: hdu.extent.shape,
      layout: pixelLayout(hdu.header, this.path),
      startBytes: hdu.dataStartBytes,
    });
  }

  #unpack(plain: FoundHdu, packed: FoundHdu): ScratchFile {
    const before = this.#unpacked.get(plain);
    if (before) return before;
    const scratch = new ScratchFile();
    try {
      unpackTiles(packed, this.#handle, scratch, { plain, what: this.path });
    } catch (error) {
      scratch.close();
      throw error;
    }
    this.#unpacked.set(plain, scratch);
    return scratch;
  }

  close(): void {
    for (const scratch of this.#unpacked.values()) scratch.close();
    this.#unpacked.clear();
    if (this.whole) this.whole.close();
    else closeSync(this.#handle);
  }

  [Symbol.dispose](): void {
    this.close();
  }
}

/** How a frame of a sequence is called: counted from 1, as people do. */
export function frameName(path: string, frameIndex: number): string {
  return `${path} frame ${frameIndex + 1}`;
}

/** Where an open file keeps an image, and what its bytes mean. */
interface ImagePlace {
  readonly header: FitsHeader;
  /** Slowest axis first. */
  readonly shape: readonly number[];
  readonly layout: PixelLayout;
  /** Where its pixels start in the file. */
  readonly startBytes: number;
}

/** An image whose pixels stay in the file until rows are asked for. */
export class FitsFileImage implements ImagePlace {
  readonly header: FitsHeader;
  readonly shape: readonly number[];
  readonly widthPx: number;
  /** All rows of all planes. */
  readonly rowCount: number;
  readonly layout: PixelLayout;
  readonly startBytes: number;

  constructor(
    readonly path: string,
    /** Of the open file; who opened it closes it. */
    readonly handle: number,
    place: ImagePlace,
  ) {
    this.header = place.header;
    this.shape = place.shape;
    this.layout = place.layout;
    this.widthPx = this.shape.at(-1)!;
    this.rowCount = this.shape.slice(0, -1).reduce((product, length) => product * length, 1);
    this.startBytes = place.startBytes;
  }

  /** The planes of a cube, each as a picture; the header's time is that of the first. */
  planes(): FitsFileImage[] {
    const [rows, columns] = this.shape.slice(-2) as [number, number];
    const planeBytes = rows * columns * this.layout.bytesPerPixel;
    const untimed = new FitsHeader(
      this.header.cards.filter(({ keyword }) => !/^DATE-(OBS|BEG)$/.test(keyword)),
    );
    return Array.from(
      { length: this.rowCount / rows },
      (_, plane) =>
        new FitsFileImage(frameName(this.path, plane), this.handle, {
          layout: this.layout,
          header: plane === 0 ? this.header : untimed,
          shape: [rows, columns],
          startBytes: this.startBytes + plane * planeBytes,
        }),
    );
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

  /** Pixels as they lie in the file; the length of `into` says how many. */
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
