/** What is wrong with a ledger, so that it can't be used. */
export type LedgerTrouble =
  | "not a ledger"
  | "later version"
  | "damaged"
  | "locked"
  | "unwritable"
  | "unopened";

const whatToDo: Readonly<Record<LedgerTrouble, string>> = {
  "not a ledger": "Name the ledger that the rig's runs keep with `--ledger`, or leave the option out.",
  "later version": "Use the version of evenfield that wrote it, or a later one.",
  damaged:
    "Run `evenfield restore --rig RIG`, which goes by the run folders as well; then move the file aside. " +
    "The next run begins a new ledger.",
  locked: "Close the program that holds it open (a backup, a browser of databases); then try again.",
  unwritable:
    "Make room on its disk, or give this user the right to write there; or name another with `--ledger`.",
  unopened: "Check the path and that it names a file, not a folder.",
};

/** The file of runs and baselines can't be used. A fault of ours it is not. */
export class LedgerError extends Error {
  readonly code = "LEDGER";
  readonly whatToDo: string;
  constructor(
    readonly file: string,
    readonly trouble: LedgerTrouble,
    detail: string,
    options?: ErrorOptions,
  ) {
    super(`the ledger ${file} ${sentences[trouble]} (${detail})`, options);
    this.name = "LedgerError";
    this.whatToDo = whatToDo[trouble];
  }
}

const sentences: Readonly<Record<LedgerTrouble, string>> = {
  "not a ledger": "is no ledger of evenfield",
  "later version": "was written by a later version of evenfield",
  damaged: "is damaged",
  locked: "is held by another program",
  unwritable: "can't be written",
  unopened: "can't be opened",
};

const troubles: readonly (readonly [codes: RegExp, trouble: LedgerTrouble])[] = [
  [/^SQLITE_NOTADB/, "not a ledger"],
  [/^SQLITE_(CORRUPT|MISMATCH|ERROR|CONSTRAINT)/, "damaged"],
  [/^SQLITE_(BUSY|LOCKED|PROTOCOL)/, "locked"],
  [/^(SQLITE_(FULL|READONLY|PERM|IOERR|NOMEM)|ENOSPC|EROFS|EDQUOT|EACCES|EPERM|EIO)/, "unwritable"],
];

/** What SQLite or the file system said, as a ledger's trouble; anything else, a fault of ours, as it is. */
export function asLedgerError(file: string, error: unknown): unknown {
  if (error instanceof LedgerError || !(error instanceof Error)) return error;
  const { code } = error as { code?: unknown };
  if (typeof code !== "string" || !/^(SQLITE_|E[A-Z]+$)/.test(code)) return error;
  const trouble = troubles.find(([codes]) => codes.test(code))?.[1] ?? "unopened";
  return new LedgerError(file, trouble, error.message, { cause: error });
}
