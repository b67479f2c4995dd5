import { closeSync, fstatSync, openSync } from "node:fs";
import { toNative } from "./byte-order.ts";
import { FitsFileImage, frameName } from "./fits-file.ts";
import type { FitsHeader } from "./fits-header.ts";
import { plainCountsLayout } from "./fits-pixels.ts";
import { readFully } from "./read-fully.ts";
import {
  type ByteOrder,
  byteOrderOfFlag,
  parseSerHeader,
  SerError,
  type SerHeader,
  serHeaderBytes,
  stampBytes,
} from "./ser.ts";
import { byteOrderOfPicture } from "./ser-byte-order.ts";

/** A SER file of one value a pixel, mono or behind a colour filter array, read frame by frame. Reads are positional and synchronous, as in `FitsFile`. */
export class SerFile implements Disposable {
  readonly header: SerHeader;
  /** The header as it lies in the file. */
  readonly headerBytes: Uint8Array;
  readonly bytesPerPixel: 1 | 2;
  readonly frameBytes: number;
  /** Whole frames in the file: fewer than the header says when the recording was broken off. */
  readonly frameCount: number;
  /** Of the pixels; by the picture where the header contradicts it. */
  readonly byteOrder: ByteOrder;
  readonly #handle: number;
  readonly #fileBytes: number;

  private constructor(
    readonly path: string,
    handle: number,
  ) {
    this.#handle = handle;
    this.#fileBytes = fstatSync(handle).size;
    this.headerBytes = new Uint8Array(Math.min(serHeaderBytes, this.#fileBytes));
    readFully(handle, this.headerBytes, 0);
    this.header = parseSerHeader(this.headerBytes, path);
    checkOneValue(this.header, path);
    this.bytesPerPixel = this.header.depthBits > 8 ? 2 : 1;
    this.frameBytes = this.header.widthPx * this.header.heightPx * this.bytesPerPixel;
    const held = Math.floor((this.#fileBytes - serHeaderBytes) / this.frameBytes);
    // Without a count the trailer, if there is one, cannot be told from frames: the recording was broken off before it.
    this.frameCount = this.header.frameCount === 0 ? held : Math.min(held, this.header.frameCount);
    if (this.frameCount === 0) throw new SerError(`${path}: holds no whole frame`);
    this.byteOrder = this.#orderOfPicture() ?? byteOrderOfFlag(this.header.byteOrderFlag);
  }

  /** @throws SerError if it is no SER file or has several values a pixel, and the file system's errors */
  static open(path: string): SerFile {
    const handle = openSync(path, "r");
    try {
      return new SerFile(path, handle);
    } catch (error) {
      closeSync(handle);
      throw error;
    }
  }

  /** One frame as it lies in the file. @param into `frameBytes` long */
  readRaw(frameIndex: number, into: Uint8Array): void {
    if (frameIndex < 0 || frameIndex >= this.frameCount || into.length !== this.frameBytes)
      throw new RangeError(`Frame ${frameIndex} of ${this.frameCount} into ${into.length} bytes`);
    const start = serHeaderBytes + frameIndex * this.frameBytes;
    if (readFully(this.#handle, into, start) < into.length)
      throw new SerError(`${this.path}: became shorter while it was read`);
  }

  /** Counts of a frame. @param raw as it lies in the file, at the start of a buffer; its bytes may become the pixels */
  decode(raw: Uint8Array<ArrayBuffer>): Uint16Array {
    if (this.bytesPerPixel === 1) return new Uint16Array(raw);
    if (this.byteOrder === "big") toNative(raw, raw, 2, "keep");
    return new Uint16Array(raw.buffer, raw.byteOffset, raw.length / 2);
  }

  /** Frames as images of the open file. @param headerOf what is known of each */
  images(headerOf: (frameIndex: number) => FitsHeader): FitsFileImage[] {
    const shape = [this.header.heightPx, this.header.widthPx];
    const layout = plainCountsLayout(this.bytesPerPixel, this.byteOrder);
    return Array.from(
      { length: this.frameCount },
      (_, frameIndex) =>
        new FitsFileImage(frameName(this.path, frameIndex), this.#handle, {
          header: headerOf(frameIndex),
          shape,
          layout,
          startBytes: serHeaderBytes + frameIndex * this.frameBytes,
        }),
    );
  }

  /** What follows the frames, one time a frame, as it lies in the file; empty if there is none. */
  trailer(): Uint8Array<ArrayBuffer> {
    const start = serHeaderBytes + this.frameCount * this.frameBytes;
    const length = this.frameCount * stampBytes;
    const whole = this.frameCount === this.header.frameCount && start + length <= this.#fileBytes;
    const bytes = new Uint8Array(whole ? length : 0);
    readFully(this.#handle, bytes, start);
    return bytes;
  }

  /** UTC of each frame [100 ns since 0001-01-01]; `undefined` without a trailer. */
  stampsTicks(): BigInt64Array | undefined {
    const { buffer, length } = this.trailer();
    return length === 0 ? undefined : new BigInt64Array(buffer);
  }

  #orderOfPicture(): ByteOrder | undefined {
    if (this.bytesPerPixel === 1) return undefined;
    const middle = new Uint8Array(this.frameBytes);
    this.readRaw(this.frameCount >> 1, middle);
    return byteOrderOfPicture(middle, this.header.widthPx);
  }

  [Symbol.dispose](): void {
    closeSync(this.#handle);
  }
}

function checkOneValue({ colour }: SerHeader, path: string): void {
  if (colour === "mono" || colour === "colour filter array") return;
  throw new SerError(
    `${path}: its pixels are ${colour === "unknown" ? "of a colour kind that is not known" : "in three colours"}; ` +
      "only mono pixels and those of a colour filter array can be used",
  );
}
