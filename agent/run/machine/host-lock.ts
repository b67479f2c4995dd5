import { constants, Database } from "bun:sqlite";
import { createHash } from "node:crypto";
import { chmodSync, lstatSync, mkdirSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** One place for every user of this computer, whatever their settings; another only for tests. */
export const lockFolderDefault = join(process.platform === "win32" ? tmpdir() : "/tmp", "evenfield-locks");

/** A lock that can be neither had nor refused: its file can't be made. */
export class LockFolderError extends Error {
  readonly code = "LOCK_FOLDER";
  readonly whatToDo: string;
  constructor(folder: string, options: ErrorOptions) {
    const { cause } = options;
    super(
      `no lock can be made in ${folder}: ${cause instanceof Error ? cause.message : String(cause)}`,
      options,
    );
    this.name = "LockFolderError";
    this.whatToDo = `Let every user write to ${folder}, or remove it if it is no folder; make room on its disk if that is full.`;
  }
}

/**
 * Holds a key for this process against all others of this computer. The lock is the operating system's own on a file,
 * so it is gone with the process, however that ends.
 * @returns `undefined` when another one holds it. @throws LockFolderError
 */
export function takeHostLock(folder: string, key: string): Disposable | undefined {
  let database: Database | undefined;
  try {
    makeLockFolder(folder);
    database = openLockFile(
      join(folder, `${createHash("sha256").update(key).digest("hex").slice(0, 24)}.lock`),
    );
    database.run("pragma busy_timeout = 0");
    database.run("begin exclusive");
  } catch (error) {
    database?.close();
    if ((error as { code?: string }).code === "SQLITE_BUSY") return undefined;
    throw new LockFolderError(folder, { cause: error });
  }
  const held = database;
  return {
    [Symbol.dispose]() {
      held.run("rollback");
      held.close();
    },
  };
}

function makeLockFolder(folder: string): void {
  try {
    mkdirSync(folder);
    chmodSync(folder, 0o1777); // whoever comes first, the others come too
  } catch (error) {
    if ((error as NodeJS.ErrnoException).code !== "EEXIST") throw error;
    if (!lstatSync(folder).isDirectory()) throw new Error("it is not a folder", { cause: error });
  }
}

/** Opened before it is made: in a folder that all may write to, a system may refuse to make what another user has made. */
function openLockFile(file: string): Database {
  try {
    return new Database(file, constants.SQLITE_OPEN_READWRITE);
  } catch {
    const database = new Database(file, { create: true });
    try {
      chmodSync(file, 0o666);
    } catch {
      // It is another user's, made in this very moment.
    }
    return database;
  }
}
