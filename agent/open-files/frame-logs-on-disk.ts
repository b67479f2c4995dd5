import { closeSync, openSync, readSync, rmSync, writeSync } from "node:fs";
import { type FrameLogs, FrameLogsInMemory, type SharedLogs } from "../imaging/displaced/frame-logs.ts";

type SharedFile = Extract<SharedLogs, { handle: unknown }>;

/** Frames' logarithms in a file that is open. Handles are the process's, so another thread reads by the same one. */
export class LogsFile implements FrameLogs {
  readonly #frameBytes: number;
  #buffer = new Int16Array(0);

  constructor(readonly shared: SharedFile) {
    this.#frameBytes = 2 * shared.pxCount;
  }

  get(frameIndex: number, startPx: number, endPx: number): Int16Array {
    const length = endPx - startPx;
    if (this.#buffer.length < length) this.#buffer = new Int16Array(length);
    const into = this.#buffer.subarray(0, length);
    const bytes = new Uint8Array(into.buffer, 0, 2 * length);
    const position = frameIndex * this.#frameBytes + 2 * startPx;
    const { handle, path } = this.shared;
    for (let done = 0; done < bytes.length; ) {
      const read = readSync(handle, bytes, done, bytes.length - done, position + done);
      if (read === 0) throw new Error(`${path} is shorter than what was written to it`);
      done += read;
    }
    return into;
  }

  put(frameIndex: number, logs: Int16Array): void {
    const bytes = new Uint8Array(logs.buffer, logs.byteOffset, logs.byteLength);
    const position = frameIndex * this.#frameBytes;
    for (let done = 0; done < bytes.length; )
      done += writeSync(this.shared.handle, bytes, done, bytes.length - done, position + done);
  }
}

/**
 * Frames' logarithms in a scratch file, so that memory does not grow with their number. The file goes in the end; one left over
 * by a killed process is written over.
 */
export class FrameLogsOnDisk extends LogsFile implements Disposable {
  constructor(path: string, pxCount: number) {
    super({ handle: openSync(path, "w+"), path, pxCount });
  }

  [Symbol.dispose](): void {
    closeSync(this.shared.handle);
    rmSync(this.shared.path, { force: true });
  }
}

/** The logarithms that another thread shares. */
export function openSharedLogs(shared: SharedLogs): FrameLogs {
  return "frames" in shared ? new FrameLogsInMemory(shared.frames) : new LogsFile(shared);
}
