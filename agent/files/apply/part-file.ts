import { closeSync, constants, fdatasyncSync, fstatSync, fsyncSync, ftruncateSync, openSync } from "node:fs";
import { readFully } from "../../../drivers/formats/read-fully.ts";
import { partName, renameIntoPlace, writeFully } from "../../../drivers/formats/whole-file.ts";

/** After so many bytes of frames the disk is made to hold them, and as many are done again after a break. */
const syncEveryBytes = 64 << 20;

export interface PartLayout {
  readonly headBytes: number;
  readonly frameBytes: number;
  readonly frameCount: number;
}

/**
 * A file of a head, frames and a tail that grows frame by frame under `NAME.part` and gets its name when it is
 * whole. How far it came is its size: a later run may go on from there. Disposing closes it and leaves it on disk.
 */
export class PartFile implements Disposable {
  readonly #handle: number;
  #unsyncedBytes = 0;
  #open = true;

  constructor(
    readonly path: string,
    readonly layout: PartLayout,
  ) {
    // Made if it is not there, kept as it is if it is.
    this.#handle = openSync(partName(path), constants.O_RDWR | constants.O_CREAT);
  }

  /** Frames that an earlier run wrote and the disk is sure to hold. */
  safeFrameCount(): number {
    const { headBytes, frameBytes, frameCount } = this.layout;
    // The frame that goes past the limit brings the sync.
    const held = fstatSync(this.#handle).size - headBytes - syncEveryBytes - frameBytes;
    return Math.max(0, Math.min(frameCount, Math.floor(held / frameBytes)));
  }

  readFrame(frameIndex: number, into: Uint8Array): void {
    readFully(this.#handle, into, this.#startOf(frameIndex));
  }

  /** Forgets what is there from this frame on. */
  cutTo(frameIndex: number): void {
    ftruncateSync(this.#handle, this.#startOf(frameIndex));
  }

  writeFrame(frameIndex: number, bytes: Uint8Array): void {
    writeFully(this.#handle, bytes, this.#startOf(frameIndex));
    this.#unsyncedBytes += bytes.length;
    if (this.#unsyncedBytes < syncEveryBytes) return;
    fdatasyncSync(this.#handle);
    this.#unsyncedBytes = 0;
  }

  /** @throws an error with code EEXIST if the name is taken and `replace` is false */
  finish(parts: { readonly head: Uint8Array; readonly tail: Uint8Array }, replace: boolean): void {
    if (parts.head.length !== this.layout.headBytes) throw new RangeError("The head changed its length");
    writeFully(this.#handle, parts.tail, this.#startOf(this.layout.frameCount));
    writeFully(this.#handle, parts.head, 0);
    fsyncSync(this.#handle);
    this[Symbol.dispose]();
    renameIntoPlace(this.path, { replace });
  }

  #startOf(frameIndex: number): number {
    return this.layout.headBytes + frameIndex * this.layout.frameBytes;
  }

  [Symbol.dispose](): void {
    if (this.#open) closeSync(this.#handle);
    this.#open = false;
  }
}
