import { readdirSync } from "node:fs";
import { join, resolve } from "node:path";
import { explainFileErrors } from "../input-error.ts";

const isPicture = /\.(fits?|fts|ser)(\.gz|\.fz)?$/i;

/**
 * Files with pictures below a folder, by their names, sorted; hidden ones and links to folders are passed over.
 * @param leaveOut a folder below it, for instance that of the results
 * @returns paths relative to the folder
 * @throws InputError if it can't be read
 */
export function picturesUnder(folder: string, leaveOut: string): string[] {
  const found: string[] = [];
  const waiting = [""];
  for (let below = waiting.pop(); below !== undefined; below = waiting.pop()) {
    const here = join(folder, below);
    for (const entry of explainFileErrors(here, () => readdirSync(here, { withFileTypes: true }))) {
      const name = join(below, entry.name);
      if (entry.name.startsWith(".") || resolve(folder, name) === resolve(leaveOut)) continue;
      if (entry.isDirectory()) waiting.push(name);
      else if (isPicture.test(entry.name)) found.push(name);
    }
  }
  return found.sort();
}
