import { join } from "node:path";
import { inTurn, medianOf, milliseconds, rangeText, tellRow } from "./side-by-side.ts";

/** How long `evenfield --help` takes beside a program that does nothing. */
const program = join(import.meta.dirname, "../../agent/main.ts");
const start = (...args: string[]) =>
  milliseconds(() => {
    const run = Bun.spawnSync([process.execPath, ...args], { stdout: "ignore", stderr: "pipe" });
    if (run.exitCode !== 0) throw new Error(`${args.join(" ")}: ${run.stderr}`);
  });
const sides = { ours: () => start(program, "--help"), bare: () => start("-e", "0") };
inTurn(3, sides);
const taken = inTurn(15, sides);
tellRow({
  ...{ row: 21, what: "start of the command line, --help", better: "less", goal: 2.5, unit: "x bun -e 0" },
  measured: medianOf(taken.ours) / medianOf(taken.bare),
  from: `ours ${rangeText(taken.ours)}, bare ${rangeText(taken.bare)}`,
});
