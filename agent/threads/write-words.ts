import { writeSync } from "node:fs";

/** A pipe that another program made non-blocking is full [ms]. */
const fullPauseMs = 20;

/** Writes all of it, however long nobody reads. @returns false when nobody ever will: the terminal or the reader is gone */
export function writeWords(file: number, text: string): boolean {
  const bytes = new TextEncoder().encode(text);
  for (let done = 0; done < bytes.length; ) {
    try {
      done += writeSync(file, bytes, done);
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== "EAGAIN") return false;
      Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, fullPauseMs);
    }
  }
  return true;
}
