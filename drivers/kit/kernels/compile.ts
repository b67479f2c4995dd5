import { createHash } from "node:crypto";
import { readdirSync, readFileSync, writeFileSync } from "node:fs";
import { join, sep } from "node:path";

const sourceFolder = join(import.meta.dirname, "src");
export const builtFolder = join(import.meta.dirname, "built");

const usualOptions = ["-O3", "--noAssert", "--runtime", "stub", "--importMemory", "--enable", "simd"];
const moreOptions: Readonly<Record<string, readonly string[]>> = {
  "base64-decoding": ["--enable", "relaxed-simd"],
  // Two threads run it in one memory; its size is given when it is made.
  "displaced-sweeps": ["--enable", "threads", "--sharedMemory", "--maximumMemory", "65536"],
};

interface Compiler {
  main(
    options: readonly string[],
    files: {
      readFile(file: string): string | null;
      writeFile(file: string, content: Uint8Array | string): void;
      listFiles(): readonly string[];
    },
  ): Promise<{ readonly error: Error | null; readonly stderr: { toString(): string } }>;
}
/** A name that the type checker does not follow: the compiler's own types would change everybody's global ones. */
const compilerName: string = "assemblyscript/asc";

/** Functions of more numbers take them by name. */
const placesMost = 4;

/** Written in AssemblyScript: kernels are `src/NAME.ts`, what several of them import lies in `src/shared`. */
const sourceFiles = readdirSync(sourceFolder, { recursive: true, encoding: "utf8" })
  .filter((file) => file.endsWith(".ts") && !file.endsWith(".d.ts"))
  .sort();
const kernelNames = sourceFiles
  .filter((file) => !file.includes(sep))
  .map((file) => file.slice(0, -".ts".length));

/**
 * Compiles all kernels.
 * @returns what belongs into the folder `built`, by file name: the modules, and `kernels.ts` with their functions' types
 * @throws with the compiler's own words
 */
export async function compileKernels(): Promise<Map<string, Uint8Array>> {
  const files = new Map<string, Uint8Array>();
  const bindings: string[] = [];
  const { default: compiler } = (await import(compilerName)) as { default: Compiler };
  for (const name of kernelNames) {
    const { code, declarations } = await compileKernel(compiler, name);
    files.set(`${name}.wasm`, code);
    bindings.push(bindingOf(name, declarations));
  }
  const text = [
    "// Made by `npm run kernels` from the kernels' sources: do not edit.",
    "type Exports = Readonly<Record<string, (...numbers: number[]) => number>>;\n",
    `export const sourcesSum = "${sourcesSum()}";\n`,
    `export const bindings = {\n${bindings.join("")}};\n`,
  ].join("\n");
  return files.set("kernels.ts", Buffer.from(text));
}

/** What all sources and options come to: tells without a compiler whether the built modules are these sources'. */
export function sourcesSum(): string {
  const sum = createHash("sha256").update(JSON.stringify([usualOptions, moreOptions]));
  for (const file of sourceFiles) sum.update(readFileSync(join(sourceFolder, file)));
  return sum.digest("hex").slice(0, 16);
}

async function compileKernel(
  compiler: Compiler,
  name: string,
): Promise<{ code: Uint8Array; declarations: string }> {
  const files = new Map<string, Uint8Array | string>();
  const options = [
    ...usualOptions,
    ...(moreOptions[name] ?? []),
    ...["--bindings", "raw", "-o", "kernel.wasm"],
  ];
  const { error, stderr } = await compiler.main([`${name}.ts`, ...options], {
    readFile: (file) => (sourceFiles.includes(file) ? readFileSync(join(sourceFolder, file), "utf8") : null),
    writeFile: (file, content) => void files.set(file, content),
    listFiles: () => [],
  });
  if (error) throw new Error(`${name}.ts could not be compiled: ${stderr.toString()}`, { cause: error });
  return { code: files.get("kernel.wasm") as Uint8Array, declarations: String(files.get("kernel.d.ts")) };
}

/** A kernel's functions with their types, from what the compiler declares. */
function bindingOf(name: string, declarations: string): string {
  const functions = [...declarations.matchAll(/^ {2}export function (\w+)\((.*)\): (\w+);$/gm)];
  const lines = functions.map(([, call, parameters, result]) => {
    const names = parameters!.split(", ").map((parameter) => parameter.split(":")[0]!);
    if (!/^(\w+: number(, )?)*$/.test(parameters!) || !/^(number|void)$/.test(result!))
      throw new TypeError(`${name}.ts: ${call} must take numbers and give a number or nothing`);
    if (names.length <= placesMost) return `    ${call}: raw.${call} as (${parameters}) => ${result},\n`;
    const run = `raw.${call}!(${names.map((one) => `by.${one}`).join(", ")});`;
    const by = `(by: { ${parameters!.replaceAll(",", ";")} }): ${result}`;
    return `    ${call}: ${by} => {\n      ${result === "void" ? "" : "return "}${run}\n    },\n`;
  });
  return `  "${name}": (raw: Exports) => ({\n${lines.join("")}  }),\n`;
}

if (import.meta.main) {
  for (const [file, content] of await compileKernels()) writeFileSync(join(builtFolder, file), content);
}
