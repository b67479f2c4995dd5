import { closeSync, openSync, readSync, rmSync, writeSync } from "node:fs";
import type { FrameLogs } from "../imaging/displaced/frame-logs.ts";

/**
 * Frames' logarithms in a scratch file, so that memory does not grow with their number. The file goes in the end; one left over
 * by a killed process is written over.
 */
export class FrameLogsOnDisk implements FrameLogs, Disposable {
  readonly #handle: number;
  readonly #frameBytes: number;
  #buffer = new Int16Array(0);

  constructor(
    readonly path: string,
    pxCount: number,
  ) {
    this.#handle = openSync(path, "w+");
    this.#frameBytes = 2 * pxCount;
  }

  get(frameIndex: number, startPx: number, endPx: number): Int16Array {
    const length = endPx - startPx;
    if (this.#buffer.length < length) this.#buffer = new Int16Array(length);
    const into = this.#buffer.subarray(0, length);
    const bytes = new Uint8Array(into.buffer, 0, 2 * length);
    const position = frameIndex * this.#frameBytes + 2 * startPx;
    for (let done = 0; done < bytes.length; ) {
      const read = readSync(this.#handle, bytes, done, bytes.length - done, position + done);
      if (read === 0) throw new Error(`${this.path} is shorter than what was written to it`);
      done += read;
    }
    return into;
  }

  put(frameIndex: number, logs: Int16Array): void {
    const bytes = new Uint8Array(logs.buffer, logs.byteOffset, logs.byteLength);
    const position = frameIndex * this.#frameBytes;
    for (let done = 0; done < bytes.length; )
      done += writeSync(this.#handle, bytes, done, bytes.length - done, position + done);
  }

  [Symbol.dispose](): void {
    closeSync(this.#handle);
    rmSync(this.path, { force: true });
  }
}
