import { closeSync, fsyncSync, mkdirSync, openSync, readdirSync, readFileSync, writeSync } from "node:fs";
import { dirname, join, resolve } from "node:path";
import type { Log } from "../../../drivers/kit/log.ts";
import { isInMemory } from "./ledger-tables.ts";

/**
 * Makes a run's own folder, which no other run has: `2026-06-20T101500Z-garden-first-flat`, with a number behind it when
 * that is taken. It sorts by time, and no file system minds it. @returns its path; @throws what the file system says
 */
export function makeRunFolder(
  runsFolder: string,
  { utcMs, rig, plan }: { readonly utcMs: number; readonly rig: string; readonly plan: string },
): string {
  mkdirSync(runsFolder, { recursive: true });
  const utc = `${new Date(utcMs).toISOString().slice(0, 19).replaceAll(":", "")}Z`;
  for (let number = 1; ; number++) {
    const folder = join(runsFolder, `${utc}-${rig}-${plan}${number === 1 ? "" : `-${number}`}`);
    try {
      mkdirSync(folder); // fails if it is there, with no gap between look and leap
      return folder;
    } catch (error) {
      if ((error as NodeJS.ErrnoException).code !== "EEXIST") throw error;
    }
  }
}

/** Beside the ledger, one whole path a line: where run folders lie, to be found again when the ledger is not. */
const listFile = (ledgerFile: string) => `${ledgerFile}.runs`;

/** Notes where a run's folder lies, once for each such place. As hope: the ledger and the default place are there too. */
export function rememberRunsFolder(ledgerFile: string, runFolder: string, log: Log): void {
  if (isInMemory(ledgerFile)) return;
  const runsFolder = dirname(resolve(runFolder));
  if (rememberedFolders(ledgerFile).includes(runsFolder)) return;
  try {
    const handle = openSync(listFile(ledgerFile), "a");
    try {
      writeSync(handle, `${runsFolder}\n`);
      fsyncSync(handle);
    } finally {
      closeSync(handle);
    }
  } catch (error) {
    log.warn({ file: listFile(ledgerFile), error: String(error) }, "could not note where the runs lie");
  }
}

/**
 * Every folder that lies where runs lie: in the places noted beside the ledger and in those named. Whole paths, each
 * once, oldest name first. A place that is not there, or can't be read, holds none. @throws nothing
 */
export function listRunFolders(ledgerFile: string, runsFolders: readonly string[]): readonly string[] {
  if (isInMemory(ledgerFile)) return [];
  const places = new Set([...rememberedFolders(ledgerFile), ...runsFolders.map((folder) => resolve(folder))]);
  return [...places].flatMap((place) => {
    try {
      const entries = readdirSync(place, { withFileTypes: true });
      return entries
        .filter((entry) => entry.isDirectory())
        .map(({ name }) => join(place, name))
        .toSorted();
    } catch {
      return [];
    }
  });
}

function rememberedFolders(ledgerFile: string): readonly string[] {
  try {
    return readFileSync(listFile(ledgerFile), "utf8")
      .split("\n")
      .filter((line) => line !== "");
  } catch {
    return [];
  }
}
