import { existsSync } from "node:fs";
import { totalmem } from "node:os";

/** The allocator's own name for it; −1: memory that is freed stays with the process. It is read once, when a process begins. */
const variable = "MIMALLOC_PURGE_DELAY";

/** With less memory than that in the computer, freed memory is better given back. */
const ampleBytes = 3.5e9;

const libraries = ["libc.so.6", "libSystem.B.dylib"];

export interface ProcessImage {
  readonly executable: string;
  readonly args: readonly string[];
  readonly environment: Readonly<Record<string, string>>;
}

/**
 * What this process would have to be begun as for its allocator to keep freed memory: whole frames come and go, and memory
 * that was given back in between is dear to have again (`test/bench/measured/stage.md`).
 * @returns undefined where it is so already, or where a person has said otherwise by the variable, or where memory is scarce
 */
export function imageKeepingMemory(
  now: Pick<NodeJS.Process, "argv" | "execArgv" | "execPath" | "env">,
  memoryBytes: number,
): ProcessImage | undefined {
  if (now.env[variable] !== undefined || memoryBytes < ampleBytes) return undefined;
  // a script inside a single-file executable is not an argument
  const script = now.argv.slice(1, 2).filter((path) => existsSync(path) && !path.startsWith("/$bunfs/"));
  const environment: Record<string, string> = { [variable]: "-1" };
  for (const [name, value] of Object.entries(now.env)) if (value !== undefined) environment[name] = value;
  return {
    executable: now.execPath,
    args: [now.execPath, ...now.execArgv, ...script, ...now.argv.slice(2)],
    environment,
  };
}

/** Begins this process anew, under the same id and terminal, if that is what keeps freed memory; else, or if it can't be done, goes on. */
export async function keepFreedMemory(): Promise<void> {
  const image = imageKeepingMemory(process, totalmem());
  if (image) await replaceProcess(image);
}

/** POSIX `execve`; comes back only where there is none. */
async function replaceProcess({ executable, args, environment }: ProcessImage): Promise<void> {
  const { dlopen, FFIType, ptr } = await import("bun:ffi");
  const { ptr: pointer, i32 } = FFIType;
  const texts: Buffer[] = []; // held, so that they stay where they are
  const place = (text: string) => {
    const bytes = Buffer.from(`${text}\0`);
    texts.push(bytes);
    return ptr(bytes);
  };
  const list = (lines: readonly string[]) =>
    BigUint64Array.from([...lines.map((line) => BigInt(place(line))), 0n]);
  for (const library of libraries) {
    try {
      const { symbols } = dlopen(library, { execve: { args: [pointer, pointer, pointer], returns: i32 } });
      const variables = Object.entries(environment).map(([name, value]) => `${name}=${value}`);
      symbols.execve(place(executable), ptr(list(args)), ptr(list(variables)));
    } catch {} // slower without, not worse
  }
}
