import { homedir } from "node:os";
import { join } from "node:path";

/**
 * Where the ledger is unless a command says otherwise. One place per user and not per working directory: a run that
 * was killed has to be found by the next one, wherever that is started.
 */
export function ledgerFileDefault(
  environment: Readonly<Record<string, string | undefined>> = process.env,
): string {
  const dataHome = environment.XDG_DATA_HOME || join(homedir(), ".local", "share");
  return join(dataHome, "evenfield", "ledger.sqlite");
}
