import { mkdirSync, mkdtempSync, renameSync, rmSync, statSync } from "node:fs";
import { join } from "node:path";
import { findOwnFile } from "../../drivers/kit/place.ts";
import { listPackedFiles } from "./packed-files.ts";

const targetsUsual = ["linux-x64", "linux-arm64"];

/**
 * Builds the single-file executable of one kind of computer.
 * @param target a target of `bun build --compile` without its `bun-`; Bun for it comes once from the npm registry
 * @returns the file
 * @throws with the builder's own words
 */
export function buildExecutable(target: string, folder: string): string {
  const file = join(folder, `evenfield-${target}`);
  const beside = mkdtempSync(join(folder, "build-")); // the builder leaves a map of each source beside its file
  const built = join(beside, "evenfield");
  const { programs, data } = listPackedFiles();
  const command = [
    ...[process.execPath, "build", "--compile", `--target=bun-${target}`],
    ...["--bytecode", "--format=esm", "--minify", "--sourcemap"],
    ...["--root", ".", "--asset-naming=[dir]/[name].[ext]"],
    ...["yaml", "yml", "html", "service"].flatMap((kind) => ["--loader", `.${kind}:file`]),
    // Or it would run what lies in the folder that it is started in.
    ...["--no-compile-autoload-dotenv", "--no-compile-autoload-bunfig"],
    ...[...programs, ...data, "--outfile", built],
  ];
  try {
    const { exitCode, stderr } = Bun.spawnSync(command, { cwd: Bun.fileURLToPath(findOwnFile(".")) });
    if (exitCode !== 0)
      throw new Error(`evenfield-${target} could not be built: ${stderr.toString().trim()}`);
    renameSync(built, file);
    return file;
  } finally {
    rmSync(beside, { recursive: true });
  }
}

/** `npm run build [-- TARGETS…]`: also `linux-x64-baseline`, for processors without AVX2. */
if (import.meta.main) {
  const folder = Bun.fileURLToPath(findOwnFile("dist"));
  mkdirSync(folder, { recursive: true });
  const targets = process.argv.slice(2);
  for (const target of targets.length > 0 ? targets : targetsUsual) {
    const file = buildExecutable(target, folder);
    process.stdout.write(`${file}: ${(statSync(file).size / 1e6).toFixed(0)} MB\n`);
  }
}
