/** Where a single-file executable keeps what it was built from; a path that is on no disk. */
const singleFileRoot = "/$bunfs/root/";

const here = import.meta.url;
export const inSingleFile = here.includes(singleFileRoot);

/** The folder that holds `agent`, `drivers` and `plans`. In a single file every module has its entry's address. */
const root = inSingleFile
  ? here.slice(0, here.indexOf(singleFileRoot) + singleFileRoot.length)
  : new URL("../../", here).href;

/**
 * Where a file of this program is, from source or in a single-file executable: nothing else may tell it from its own address.
 * What is read or started by its place has to be in the list of the executables' files (`agent/executables/packed-files.ts`).
 * @param path from the root of the repository
 */
export function findOwnFile(path: string): URL {
  return new URL(path, root);
}

/** This program as a command of another process: what goes before its arguments. */
export function ownCommand(): readonly string[] {
  if (inSingleFile) return [process.execPath];
  return [process.execPath, Bun.fileURLToPath(findOwnFile("agent/main.ts"))];
}
