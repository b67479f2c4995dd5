import { Database } from "bun:sqlite";
import { mkdirSync } from "node:fs";
import { dirname } from "node:path";
import { isInMemory } from "../ledger/ledger.ts";

/** Another process works with the rig now. */
export class RigBusyError extends Error {
  readonly code = "RIG_BUSY";
  readonly whatToDo = "Wait for the other run to end, or stop it with Ctrl-C; then try again.";
  constructor(rig: string) {
    super(`another evenfield process is using the rig ${rig}`);
    this.name = "RigBusyError";
  }
}

/**
 * Holds a rig for one process. The lock is the operating system's lock on a file beside the ledger, so it is gone
 * with the process, however that ends: an unfinished run in the ledger whose rig can be locked is a crashed one.
 * @throws RigBusyError
 */
export function lockRig(ledgerFile: string, rig: string): Disposable {
  if (isInMemory(ledgerFile)) return { [Symbol.dispose]() {} };
  mkdirSync(dirname(ledgerFile), { recursive: true });
  const database = new Database(`${ledgerFile}.${rig}.lock`, { create: true });
  try {
    database.run("pragma busy_timeout = 0");
    database.run("begin exclusive");
  } catch (error) {
    database.close();
    if ((error as { code?: string }).code === "SQLITE_BUSY") throw new RigBusyError(rig);
    throw error;
  }
  return {
    [Symbol.dispose]() {
      database.run("rollback");
      database.close();
    },
  };
}
