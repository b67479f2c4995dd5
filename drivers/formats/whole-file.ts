import { closeSync, existsSync, fsyncSync, linkSync, openSync, renameSync, rmSync, writeSync } from "node:fs";
import { dirname } from "node:path";

/** The name under which a file is written before it is whole. */
export function partName(path: string): string {
  return `${path}.part`;
}

/**
 * Gives a file that was written beside its final name, unless another one has taken it.
 * @throws an error with code EEXIST if `replace` is false and the name is taken; the file beside is removed
 */
export function renameIntoPlace(path: string, options: { readonly replace: boolean }): void {
  const beside = partName(path);
  if (options.replace) {
    renameSync(beside, path);
  } else {
    try {
      linkSync(beside, path); // fails if the name is taken, with no gap between look and leap
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code === "EEXIST" || existsSync(path)) {
        rmSync(beside, { force: true });
        throw error;
      }
      renameSync(beside, path); // file systems without hard links
    }
    rmSync(beside, { force: true });
  }
  syncFolder(dirname(path));
}

/** Writes a file so that it is whole or absent, whatever happens: beside, sync, rename. */
export function writeWholeFile(
  path: string,
  bytes: Uint8Array,
  options: { readonly replace: boolean },
): void {
  const handle = openSync(partName(path), "w");
  try {
    writeFully(handle, bytes, 0);
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
  renameIntoPlace(path, options);
}

export function writeFully(handle: number, bytes: Uint8Array, positionBytes: number): void {
  let done = 0;
  while (done < bytes.length)
    done += writeSync(handle, bytes, done, bytes.length - done, positionBytes + done);
}

/** Makes the new name itself last through a power cut. */
function syncFolder(folder: string): void {
  if (process.platform === "win32") return; // folders cannot be opened there
  const handle = openSync(folder, "r");
  try {
    fsyncSync(handle);
  } finally {
    closeSync(handle);
  }
}
