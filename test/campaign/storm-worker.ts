import { createInterface } from "node:readline";
import { drawStorm } from "../storms/draw-storm.ts";
import { playStorm } from "../storms/play-storm.ts";

/** Plays the storms of the seeds that it reads, a line each, and writes a line of JSON for each. */
export interface StormLine {
  readonly seed: number;
  readonly digest: string;
  readonly violations: readonly { readonly class: string; readonly what: string }[];
  readonly struck: readonly string[];
  readonly phases: readonly string[];
  readonly exitCode?: number | undefined;
  readonly cpuSeconds: number;
}

for await (const seed of createInterface({ input: process.stdin })) {
  const storm = drawStorm(Number(seed));
  const before = process.cpuUsage();
  const { digest, violations, happened, phases, endings } = await playStorm(storm);
  const { user, system } = process.cpuUsage(before);
  const line: StormLine = {
    seed: storm.seed,
    digest,
    violations: violations.map(({ class: name, what }) => ({ class: name, what })),
    // In the order in which they struck, by kind.
    struck: happened.struck.map(({ name }) => name),
    phases: [...phases.keys()],
    exitCode: endings[0]?.exitCode,
    cpuSeconds: (user + system) / 1e6,
  };
  process.stdout.write(`${JSON.stringify(line)}\n`);
}
