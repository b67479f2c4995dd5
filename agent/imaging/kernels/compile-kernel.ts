import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { existsSync, mkdirSync, mkdtempSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { dirname, join, resolve } from "node:path";

const usualOptions = ["-O3", "--noAssert", "--runtime", "stub", "--importMemory", "--enable", "simd"];
/** Kernels that two threads run in one memory; its size is given when it is made. */
const shared: readonly string[] = ["displaced-sweeps"];
const sharedOptions = ["--enable", "threads", "--sharedMemory", "--maximumMemory", "65536"];
const cache = resolve(import.meta.dirname, "../../../.cache/kernels");

const modules = new Map<string, WebAssembly.Module>();

/**
 * A kernel written in AssemblyScript (`NAME.as` beside this file), compiled: kept in `.cache` under the sum of its source, so that it
 * is compiled once, by `npm run setup` or at first use. One module serves all that ask: what the engine learns of its loops
 * is then learnt once.
 * @returns `undefined` where the compiler is not installed; the plain twins then do the work
 * @throws with the compiler's own words
 */
export function compiledKernel(name: string): WebAssembly.Module | undefined {
  const known = modules.get(name);
  if (known !== undefined) return known;
  const source = readFileSync(join(import.meta.dirname, `${name}.as`));
  const options = optionsOf(name);
  const sum = createHash("sha256").update(source).update(options.join(" ")).digest("hex").slice(0, 16);
  const kept = join(cache, `${name}-${sum}.wasm`);
  if (!existsSync(kept)) {
    const compiler = findCompiler();
    if (compiler === undefined) return undefined;
    compile(compiler, name, source, kept);
  }
  const module = new WebAssembly.Module(readFileSync(kept));
  modules.set(name, module);
  return module;
}

function optionsOf(name: string): readonly string[] {
  return shared.includes(name) ? [...usualOptions, ...sharedOptions] : usualOptions;
}

function findCompiler(): string | undefined {
  try {
    return resolve(dirname(Bun.resolveSync("assemblyscript/asc", import.meta.dirname)), "../bin/asc.js");
  } catch {
    return undefined;
  }
}

/** The compiler wants its own ending, which every other tool would take for TypeScript: so it is given a copy. */
function compile(compiler: string, name: string, source: Uint8Array, result: string): void {
  mkdirSync(cache, { recursive: true });
  const folder = mkdtempSync(join(cache, "compiling-"));
  try {
    writeFileSync(join(folder, `${name}.ts`), source);
    const run = spawnSync(
      process.execPath,
      [compiler, `${name}.ts`, ...optionsOf(name), "-o", "kernel.wasm"],
      {
        cwd: folder,
        encoding: "utf8",
      },
    );
    if (run.status !== 0)
      throw new Error(`${name}.as could not be compiled: ${run.stderr}`, { cause: run.error });
    renameSync(join(folder, "kernel.wasm"), result);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
}
