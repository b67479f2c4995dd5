import type { FailureRecord } from "./run-record.ts";

const whatToDo: Readonly<Record<string, string>> = {
  ENOSPC: "Make room on the disk.",
  EDQUOT: "Make room: this user may fill no more of the disk.",
  EROFS: "The disk takes no writing: look why, and mount it anew.",
  EACCES: "Give this user the right to read and write there.",
  EPERM: "Give this user the right to read and write there.",
  EIO: "The disk fails: copy what is on it, and use another one.",
  ENOENT: "A file or folder is gone: leave the run's folder alone while it is under way.",
  EEXIST: "A file stands where a folder is wanted: leave the run's folder alone while it is under way.",
  ENOTDIR: "A file stands where a folder is wanted: leave the run's folder alone while it is under way.",
  EISDIR: "A folder stands where a file is wanted: leave the run's folder alone while it is under way.",
  EMFILE: "Raise the limit of open files (`ulimit -n 65536`).",
  ENFILE: "Too many files are open on this computer: end what holds them.",
  ESTALE: "The disk of another computer is gone: use one of this computer's own.",
};

/** What the file system refused, as plain data; `undefined` for any other error. */
export function diskTrouble(error: unknown): FailureRecord | undefined {
  if (!(error instanceof Error)) return undefined;
  const { code, syscall, path } = error as NodeJS.ErrnoException;
  const advice = whatToDo[code ?? ""];
  if (advice === undefined || syscall === "connect") return undefined;
  const where = path !== undefined && !error.message.includes(path) ? ` (${path})` : "";
  return { code: "DISK", message: `${error.message}${where}`, whatToDo: advice };
}

/** Of a disk or a file of this computer, not of a device and no fault of ours. */
export function isDiskFailure({ code }: FailureRecord): boolean {
  return code === "DISK" || code === "LEDGER";
}
