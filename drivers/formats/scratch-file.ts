import { closeSync, existsSync, mkdtempSync, openSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { writeFully } from "./whole-file.ts";

/** Folders in memory are small on small computers: large files belong on the disk. */
function scratchFolder(): string {
  if (process.env.TMPDIR !== undefined) return process.env.TMPDIR;
  return process.platform !== "win32" && existsSync("/var/tmp") ? "/var/tmp" : tmpdir();
}

/** Room on the disk for what a packed file holds; it goes with `close`, and where the system allows with the process. */
export class ScratchFile {
  readonly handle: number;
  readonly #folder: string;

  constructor() {
    this.#folder = mkdtempSync(join(scratchFolder(), "evenfield-"));
    this.handle = openSync(join(this.#folder, "unpacked"), "w+");
    // An open file without a name is freed even if the process is killed.
    if (process.platform !== "win32") rmSync(this.#folder, { recursive: true });
  }

  write(bytes: Uint8Array, positionBytes: number): void {
    writeFully(this.handle, bytes, positionBytes);
  }

  close(): void {
    closeSync(this.handle);
    rmSync(this.#folder, { recursive: true, force: true });
  }
}
