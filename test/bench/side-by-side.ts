import { existsSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** One line of the table that `npm run bench` ends with. */
export interface BenchRow {
  /** Of the list of goals. */
  readonly row: number;
  readonly what: string;
  readonly measured: number;
  readonly goal: number;
  readonly better: "less" | "more";
  /** What `measured` counts: `x C`, `x ccdproc`, `MiB`. */
  readonly unit: string;
  /** Both sides as measured, with their ranges. */
  readonly from: string;
}

export const rowMark = "@row ";

/** Told to `main.ts` by a line of its own. */
export function tellRow(row: BenchRow): void {
  console.log(rowMark + JSON.stringify(row));
}

/** In memory where there is such a place: a disk that others use would be what is measured. */
const place = existsSync("/dev/shm") ? "/dev/shm" : tmpdir();

export function benchFolder(name: string): string {
  return mkdtempSync(join(place, `bench-${name}-${process.pid}-`));
}

/** What benchmarks that were killed have left takes gigabytes of the memory that is measured. */
export function removeLeftFolders(): void {
  for (const entry of readdirSync(place)) {
    const owner = /^bench-[a-z]+-(\d+)-/.exec(entry)?.[1];
    if (owner !== undefined && !isRunning(Number(owner))) rmSync(join(place, entry), { recursive: true });
  }
}

function isRunning(processId: number): boolean {
  try {
    return process.kill(processId, 0);
  } catch (error) {
    return (error as NodeJS.ErrnoException).code !== "ESRCH";
  }
}

/** A peer in C, at what its compiler gives. */
export function compilePeer(name: string, folder: string): string {
  const program = join(folder, name);
  const source = join(import.meta.dirname, "peers", `${name}.c`);
  const args = ["gcc", "-O3", "-march=native", "-pthread", "-o", program, source, "-lm"];
  const run = Bun.spawnSync(args, { stdout: "ignore", stderr: "pipe" });
  if (run.exitCode !== 0) throw new Error(`gcc: ${run.stderr}`);
  return program;
}

export interface ProcessRun {
  readonly ms: number;
  readonly mebibytes: number;
  readonly text: string;
}

/**
 * A whole process, from its start to its end. `time` starts it: the peak of a process that we start ourselves would
 * begin with our own memory.
 */
export function runProcess(command: readonly string[]): ProcessRun {
  const start = Bun.nanoseconds();
  const run = Bun.spawnSync(["/usr/bin/time", "-f", "%M", ...command], { stdout: "pipe", stderr: "pipe" });
  const ms = (Bun.nanoseconds() - start) / 1e6;
  if (run.exitCode !== 0) throw new Error(`${command.slice(0, 4).join(" ")}: ${run.stderr}`);
  const kibibytes = Number(run.stderr.toString().trim().split("\n").at(-1));
  return { ms, mebibytes: kibibytes / 1024, text: run.stdout.toString() };
}

export function medianOf(values: readonly number[]): number {
  return values.toSorted((a, b) => a - b)[values.length >> 1]!;
}

/** `12.3 (11.9 to 14.0) ms` */
export function rangeText(values: readonly number[], unit = "ms"): string {
  const digits = medianOf(values) < 10 ? 2 : 0;
  const [low, high] = [Math.min(...values), Math.max(...values)];
  return `${medianOf(values).toFixed(digits)} (${low.toFixed(digits)} to ${high.toFixed(digits)}) ${unit}`;
}

/** Runs the sides in turn, so that whatever else the machine does meets all of them. */
export function inTurn<Name extends string>(
  times: number,
  sides: Readonly<Record<Name, () => number>>,
): Record<Name, number[]> {
  const names = Object.keys(sides) as Name[];
  const taken = Object.fromEntries(names.map((name) => [name, [] as number[]])) as Record<Name, number[]>;
  for (let time = 0; time < times; time++) for (const name of names) taken[name].push(sides[name]());
  return taken;
}

export function milliseconds(work: () => void): number {
  const start = Bun.nanoseconds();
  work();
  return (Bun.nanoseconds() - start) / 1e6;
}
