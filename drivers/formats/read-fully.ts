import { readSync } from "node:fs";

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
