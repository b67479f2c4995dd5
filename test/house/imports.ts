import { readdirSync, readFileSync } from "node:fs";
import { dirname, join, relative, resolve } from "node:path";

export const root = resolve(import.meta.dirname, "../..");

/** Files of the product, by their path from the root. */
export const sources = ["agent", "drivers", "plans", "sim-devices"].flatMap((folder) =>
  readdirSync(join(root, folder), { recursive: true, withFileTypes: true })
    .filter((entry) => entry.isFile() && entry.name.endsWith(".ts"))
    .map((entry) => relative(root, join(entry.parentPath, entry.name))),
);

export const textOf = (file: string): string => readFileSync(join(root, file), "utf8");

/** A file's text with no comments and empty strings. */
export function codeOf(file: string): string {
  return textOf(file)
    .replaceAll(/\/\*[\s\S]*?\*\//g, "")
    .replaceAll(/\/\/.*$/gm, "")
    .replaceAll(/"(?:[^"\\\n]|\\.)*"/g, '""');
}

/** Files of ours that a file names, those of which it takes only types as well. */
export function importsOf(file: string): string[] {
  return [...textOf(file).matchAll(/(?:from|import|import\()\s*"(\.[^"]+)"/g)].map((match) =>
    relative(root, resolve(root, dirname(file), match[1]!)),
  );
}
