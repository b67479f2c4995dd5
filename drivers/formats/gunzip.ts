import { closeSync, openSync, readSync } from "node:fs";
import { Gunzip } from "fflate";
import { FitsError } from "./fits-error.ts";
import { readFully } from "./read-fully.ts";
import { ScratchFile } from "./scratch-file.ts";

const readBytes = 1 << 20;

/** Whether a file begins as RFC 1952 has it. */
export function isGzip(handle: number): boolean {
  const first = new Uint8Array(3);
  return readFully(handle, first, 0) === 3 && first[0] === 0x1f && first[1] === 0x8b && first[2] === 8;
}

/** Unpacks a gzip file onto the disk, piece by piece. @throws FitsError if it is damaged, and the file system's errors */
export function gunzipToScratch(path: string): ScratchFile {
  const scratch = new ScratchFile();
  const from = openSync(path, "r");
  try {
    let written = 0;
    let isWhole = false;
    const unzip = new Gunzip((bytes, final) => {
      scratch.write(bytes, written);
      written += bytes.length;
      isWhole = final;
    });
    const piece = new Uint8Array(readBytes);
    const trailer = new Uint8Array(8);
    for (;;) {
      const count = readSync(from, piece, 0, piece.length, null);
      if (count === 0) break;
      keepLast(trailer, piece.subarray(0, count));
      unzip.push(piece.slice(0, count), false);
    }
    unzip.push(new Uint8Array(0), true);
    // ISIZE, RFC 1952 section 2.3.1; of several members it is the last one's.
    const stated = new DataView(trailer.buffer).getUint32(4, true);
    if (!isWhole || (written % 2 ** 32 !== stated && written < stated)) throw cutShort(path);
    return scratch;
  } catch (error) {
    scratch.close();
    if (error instanceof FitsError || !(error instanceof Error) || !isUnzipError(error)) throw error;
    throw new FitsError(`${path}: is packed with gzip and damaged (${error.message})`, { cause: error });
  } finally {
    closeSync(from);
  }
}

function cutShort(path: string): FitsError {
  return new FitsError(`${path}: is packed with gzip and cut short`);
}

function isUnzipError(error: Error): boolean {
  return typeof (error as { code?: unknown }).code === "number";
}

function keepLast(trailer: Uint8Array, piece: Uint8Array): void {
  if (piece.length >= trailer.length) {
    trailer.set(piece.subarray(-trailer.length));
    return;
  }
  trailer.copyWithin(0, piece.length);
  trailer.set(piece, trailer.length - piece.length);
}
