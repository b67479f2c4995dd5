import { spawn } from "node:child_process";
import { join } from "node:path";
import { createInterface } from "node:readline";
import { parseArgs } from "node:util";
import { describeStorm, replayLine } from "../storms/describe-storm.ts";
import { drawStorm } from "../storms/draw-storm.ts";
import { playStorm } from "../storms/play-storm.ts";
import { shrinkStorm, violates } from "../storms/shrink-storm.ts";
import type { StormLine } from "./storm-worker.ts";

/**
 * `npm run campaign storms -- [--from 1] [--count 10000 | --seeds 12,345] [--workers 2] [--shrink]`, or `-- --seed N` for
 * one of them, event by event. @returns whether nothing was violated
 */
export async function run(args: readonly string[], print: (line: string) => void): Promise<boolean> {
  const { values } = parseArgs({
    args: [...args],
    options: {
      seed: { type: "string" },
      seeds: { type: "string" },
      from: { type: "string", default: "1" },
      count: { type: "string", default: "10000" },
      workers: { type: "string", default: "2" },
      shrink: { type: "boolean", default: false },
    },
  });
  if (values.seed !== undefined) return await replay(Number(values.seed), values.shrink, print);
  const from = Number(values.from);
  const seeds =
    values.seeds?.split(",").map(Number) ?? Array.from({ length: Number(values.count) }, (_, i) => from + i);
  const lines = await playAll(seeds, Number(values.workers), print);
  for (const row of summary(lines)) print(row);
  if (values.shrink) await shrinkEach(lines, print);
  return lines.every(({ violations }) => violations.length === 0);
}

async function replay(seed: number, shrink: boolean, print: (line: string) => void): Promise<boolean> {
  const storm = drawStorm(seed);
  print(`seed ${seed}: ${describeStorm(storm)}`);
  const { happened, endings, notes, violations, digest } = await playStorm(storm);
  const startMs = happened.moments[0]?.atMs ?? 0;
  const at = (ms: number) => `${((ms - startMs) / 1000).toFixed(2).padStart(8)} s`;
  const events = [
    ...happened.moments
      .filter(({ what }) => what !== "looked")
      .map(({ atMs, part, what, detail = "", coverOpen, sunSeparationDegrees: off }) => {
        const rig = `cover ${coverOpen.toFixed(2)}, ${off.toFixed(1)}° from the Sun`;
        return { atMs, text: `${part} ${what} ${detail}`.padEnd(40) + rig };
      }),
    ...notes.map(({ atMs, what, fields }) => ({
      atMs,
      text: `        agent: ${what} ${JSON.stringify(fields)}`,
    })),
    ...happened.struck.map(({ name, beganMs: atMs }) => ({ atMs, text: `FAULT ${name}` })),
    ...endings.map(({ atMs, purpose, exitCode, differences }) => ({
      atMs,
      text: `END of ${purpose}, exit code ${exitCode ?? "none"}; differs: ${differences.join("; ") || "nothing"}`,
    })),
    ...violations.map(({ atMs, class: name, what }) => ({ atMs, text: `VIOLATION ${name}: ${what}` })),
  ];
  for (const { atMs, text } of events.sort((a, b) => a.atMs - b.atMs)) print(`${at(atMs)}  ${text}`);
  print(`digest ${digest}`);
  if (shrink)
    for (const name of new Set(violations.map((one) => one.class)))
      print(`shrunk for ${name}: ${describeStorm(await shrinkStorm(storm, violates(name)))}`);
  return violations.length === 0;
}

/** Hands the seeds out to processes, one after another as they come back. */
async function playAll(
  seeds: readonly number[],
  workers: number,
  print: (line: string) => void,
): Promise<StormLine[]> {
  const left = [...seeds];
  const lines: StormLine[] = [];
  const work = async () => {
    const child = spawn(process.execPath, [join(import.meta.dirname, "storm-worker.ts")], {
      stdio: ["pipe", "pipe", "inherit"],
    });
    const next = () => {
      const seed = left.shift();
      if (seed === undefined) child.stdin.end();
      else child.stdin.write(`${seed}\n`);
      return seed;
    };
    let underWay = next();
    for await (const text of createInterface({ input: child.stdout })) {
      const line = JSON.parse(text) as StormLine;
      lines.push(line);
      for (const { class: name, what } of line.violations) print(`seed ${line.seed}: ${name}: ${what}`);
      if (lines.length % 100 === 0) print(progress(lines, seeds.length));
      underWay = next();
    }
    if (underWay !== undefined) throw new Error(`the storm of seed ${underWay} ended its process`);
  };
  await Promise.all(Array.from({ length: workers }, work));
  return lines.sort((a, b) => a.seed - b.seed);
}

function progress(lines: readonly StormLine[], of: number): string {
  const bad = lines.filter(({ violations }) => violations.length > 0).length;
  const cpu = lines.reduce((sum, { cpuSeconds }) => sum + cpuSeconds, 0) / lines.length;
  return `${lines.length} of ${of} storms, ${bad} with violations, ${cpu.toFixed(2)} s of processor each`;
}

/** By class of violation, with seeds and the faults that were under way; then which faults never struck. */
export function summary(lines: readonly StormLine[]): string[] {
  const classes = countBy(lines, ({ violations }) => violations.map((one) => one.class));
  const faults = countBy(lines, ({ struck }) => struck.map(shortName));
  const exits = countBy(lines, ({ exitCode }) => [String(exitCode ?? "killed")]);
  const bad = lines.filter(({ violations }) => violations.length > 0);
  return [
    progress(lines, lines.length),
    `exit codes: ${exits.map(([code, among]) => `${code}: ${among.length}`).join(", ")}`,
    "",
    "violations                               storms   seeds",
    ...classes.map(
      ([name, among]) =>
        `  ${name.padEnd(38)} ${String(among.length).padStart(6)}   ${among
          .slice(0, 6)
          .map(({ seed }) => seed)
          .join(" ")}`,
    ),
    "",
    "faults                                   struck   with violations",
    ...faults.map(
      ([name, among]) =>
        `  ${name.padEnd(38)} ${String(among.length).padStart(6)}   ${among.filter((line) => bad.includes(line)).length}`,
    ),
  ];
}

/** Without its figures and the device. */
function shortName(name: string): string {
  return name
    .replace(/^(camera|mount|cover|diffuser|focuser|wheel|rotator|dome|weather|all): /, "")
    .replace(/-?\d+(\.\d+)?/g, "N");
}

function countBy(
  lines: readonly StormLine[],
  names: (line: StormLine) => readonly string[],
): [string, StormLine[]][] {
  const counts = new Map<string, StormLine[]>();
  for (const line of lines)
    for (const name of new Set(names(line))) counts.set(name, [...(counts.get(name) ?? []), line]);
  return [...counts].sort(([, a], [, b]) => b.length - a.length);
}

async function shrinkEach(lines: readonly StormLine[], print: (line: string) => void): Promise<void> {
  for (const [name, among] of countBy(lines, ({ violations }) => violations.map((one) => one.class))) {
    const { seed, violations } = among[0]!;
    const small = await shrinkStorm(drawStorm(seed), violates(name));
    print("");
    print(`${name}: ${among.length} of ${lines.length}`);
    print(`  ${violations.find((one) => one.class === name)!.what}`);
    print(`  seed ${seed} shrunk: ${describeStorm(small)}`);
    print(`  ${replayLine(seed)}`);
  }
}
