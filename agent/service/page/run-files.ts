import { existsSync, realpathSync } from "node:fs";
import { realpath, stat } from "node:fs/promises";
import { basename, dirname, join, sep } from "node:path";

/** What lies in a run's folder and may be shown. */
const contentTypes: Readonly<Record<string, string>> = {
  ".html": "text/html; charset=utf-8",
  ".json": "application/json",
  ".ndjson": "application/x-ndjson",
  ".png": "image/png",
  ".fits": "application/fits",
  ".fit": "application/fits",
  ".ser": "application/octet-stream",
};

export interface RunFile {
  readonly file: string;
  readonly bytes: number;
  readonly contentType: string;
}

/**
 * A file in one of the runs' folders. Nothing else is found: no way up, no hidden name, no link that leads elsewhere.
 * It may be asked for while this process guards a rig: nothing here waits for the disk.
 * @param parts decoded names below the runs folder
 */
export async function findRunFile(
  runsFolder: string,
  parts: readonly string[],
): Promise<RunFile | undefined> {
  if (parts.length < 2 || parts.some((part) => !/^[^./\\\0][^/\\\0]*$/.test(part))) return undefined;
  const contentType = contentTypes[/\.[a-z]+$/.exec(parts.at(-1)!)?.[0] ?? ""];
  if (contentType === undefined) return undefined;
  try {
    const file = await realpath(join(runsFolder, ...parts));
    if (!file.startsWith((await realpath(runsFolder)) + sep)) return undefined;
    const found = await stat(file);
    return found.isFile() ? { file, bytes: found.size, contentType } : undefined;
  } catch {
    return undefined; // not there, or not to be read
  }
}

/** Where the page shows a run's report; `undefined` when there is none, or it lies elsewhere. */
export function reportPath(runsFolder: string, runFolder: string): string | undefined {
  const name = basename(runFolder);
  try {
    if (realpathSync(dirname(runFolder)) !== realpathSync(runsFolder)) return undefined;
  } catch {
    return undefined;
  }
  return existsSync(join(runFolder, "report.html"))
    ? `/runs/${encodeURIComponent(name)}/report.html`
    : undefined;
}
