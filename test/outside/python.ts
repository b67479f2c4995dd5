import { spawnSync } from "node:child_process";

/** Debian's Python, where astropy and ccdproc are; another one first in PATH may lack them. */
const python = "/usr/bin/python3";

/**
 * Runs a script and returns what it printed, read as JSON. Warnings are errors.
 * @throws with the script's own words when it fails
 */
// biome-ignore lint/suspicious/noExplicitAny: each script prints a shape of its own, read where it is used
export function runPython(script: string, args: readonly string[] = []): any {
  const run = spawnSync(python, ["-c", script, ...args], { encoding: "utf8", maxBuffer: 1 << 28 });
  if (run.status !== 0) throw new Error(`python ended with ${run.status}: ${run.stderr}${run.error ?? ""}`);
  return JSON.parse(run.stdout);
}

/** `fitsverify` on files: its summary lines; anything but "verification OK" is a fault. */
export function fitsverify(paths: readonly string[]): { clean: boolean; text: string } {
  const run = spawnSync("fitsverify", ["-q", ...paths], { encoding: "utf8" });
  const lines = run.stdout.trim().split("\n");
  const clean =
    run.status === 0 &&
    lines.length === paths.length &&
    lines.every((line) => line.startsWith("verification OK"));
  return { clean, text: clean ? "" : spawnSync("fitsverify", [...paths], { encoding: "utf8" }).stdout };
}
