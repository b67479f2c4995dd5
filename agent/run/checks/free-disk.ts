import { existsSync, statfsSync } from "node:fs";
import { dirname } from "node:path";

/** Space that this user may still fill on the disk of a folder, which need not be there yet [MB of 10⁶ bytes]. */
export function freeDiskMegabytes(folder: string): number {
  let there = folder;
  while (!existsSync(there)) there = dirname(there);
  const { bavail, bsize } = statfsSync(there);
  return (bavail * bsize) / 1e6;
}
