import { type SpawnSyncReturns, spawnSync } from "node:child_process";
import { cpSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { buildExecutable } from "../../agent/executables/build.ts";
import { writeFitsFile } from "../../drivers/formats/fits-write.ts";
import { Random } from "../../drivers/kit/random.ts";

/** Debian's `qemu-user-static` and `libc6-arm64-cross`. */
const emulator = ["qemu-aarch64-static", "-L", "/usr/aarch64-linux-gnu"];

/**
 * The executables from an empty folder with no program in PATH: the demo on this computer's kind, and what arm64's does under
 * emulation.
 * @returns whether all of it was as it should be
 */
export function run({ seed, print }: { readonly seed: number; print(line: string): void }): boolean {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-alone-"));
  const tools = mkdtempSync(join(tmpdir(), "evenfield-files-"));
  const env = { HOME: folder, PATH: "/usr/bin/nowhere" };
  let isGood = true;
  const judge = (what: string, good: boolean, ended: SpawnSyncReturns<string>) => {
    print(`${what.padEnd(48)} ${good ? "good" : `WRONG: exit code ${ended.status} ${ended.stderr}`}`);
    isGood &&= good;
  };
  try {
    const files = { x64: buildExecutable("linux-x64", tools), arm64: buildExecutable("linux-arm64", tools) };
    const start = (command: readonly string[], args: readonly string[]) =>
      spawnSync(command[0]!, [...command.slice(1), ...args], { cwd: folder, env, encoding: "utf8" });
    const x64 = (...args: string[]) => start([files.x64], args);
    const which = spawnSync("which", [emulator[0]!], { encoding: "utf8" }).stdout.trim();
    const arm64 = (...args: string[]) => start([which, ...emulator.slice(1), files.arm64], args);

    const examples = x64("examples");
    judge("x64: examples", examples.status === 0, examples);
    const demo = x64("rehearse", "plans/first-flat.yaml");
    const isDemoGood = demo.status === 0 && demo.stdout.includes("Verdict of the flat: good.");
    judge("x64: the demo, verdict good", isDemoGood && !demo.stderr.includes("thread"), demo);

    const random = new Random(seed);
    const [widthPx, heightPx] = [256, 192];
    for (let frame = 0; frame < 4; frame++) {
      const pixels = Uint16Array.from({ length: widthPx * heightPx }, () => random.whole(900, 1100));
      const shape = [heightPx, widthPx];
      writeFitsFile(join(folder, `${frame}.fits`), [{ pixels, shape }], { writtenUtcMs: 0, replace: false });
    }
    const combine = ["combine", "0.fits", "1.fits", "2.fits", "3.fits", "--kind", "dark", "-o", "dark.fits"];
    const ours = x64(...combine);
    cpSync(join(folder, "dark.fits"), join(folder, "dark-x64.fits"));
    rmSync(join(folder, "dark.fits"));
    judge("x64: combine", ours.status === 0, ours);
    if (which === "") {
      print("arm64: not tried, for qemu-user-static is not installed");
      return isGood;
    }
    const help = arm64("--help");
    judge("arm64, emulated: --help", help.status === 0 && help.stdout === x64("--help").stdout, help);
    const theirs = arm64(...combine);
    const dataOf = (name: string) => readFileSync(join(folder, name)).subarray(-widthPx * heightPx);
    const isSame = theirs.status === 0 && dataOf("dark.fits").equals(dataOf("dark-x64.fits"));
    judge("arm64, emulated: combine, mask as on x64", isSame, theirs);
    judge("arm64, emulated: the same words", theirs.stdout === ours.stdout, theirs);
    return isGood;
  } finally {
    for (const made of [folder, tools]) rmSync(made, { recursive: true });
  }
}
