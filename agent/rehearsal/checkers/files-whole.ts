import { existsSync, readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { readFits } from "../../../drivers/formats/fits-read.ts";

/** What is wrong with files that a run says it wrote, one line each. @param files below the folder */
export function brokenFiles(folder: string, files: readonly string[]): string[] {
  const unfinished = existsSync(folder)
    ? readdirSync(folder, { recursive: true, encoding: "utf8" }).filter((name) => /\.part$|\.tmp$/.test(name))
    : [];
  return [
    ...unfinished.map((name) => `${name} was left half written`),
    ...files.flatMap((name) => whyBroken(join(folder, name)).map((why) => `${name}: ${why}`)),
  ];
}

function whyBroken(file: string): string[] {
  if (!existsSync(file)) return ["is not there"];
  if (!file.endsWith(".fits")) return [];
  const bytes = readFileSync(file);
  if (bytes.length === 0 || bytes.length % 2880 !== 0) return [`has ${bytes.length} bytes`];
  try {
    readFits(bytes);
    return [];
  } catch (error) {
    return [String(error)];
  }
}
