import { readdirSync } from "node:fs";
import { join } from "node:path";
import { type BenchRow, removeLeftFolders, rowMark } from "./side-by-side.ts";

/** `npm run bench [NAME ...]`: all benchmarks in turn, or those named, then one table. Each checks its results itself. */
const wanted = process.argv.slice(2);
const benches = readdirSync(import.meta.dirname)
  .filter((file) => file.endsWith(".bench.ts"))
  .filter((file) => wanted.length === 0 || wanted.some((name) => file.startsWith(`${name}.`)));
const rows: BenchRow[] = [];
const failed: string[] = [];
let running: ReturnType<typeof Bun.spawn> | undefined;
let isStopped = false;
for (const signal of ["SIGINT", "SIGTERM"] as const)
  process.once(signal, () => {
    isStopped = true;
    running?.kill();
  });

removeLeftFolders();
for (const file of benches) {
  if (isStopped) break;
  console.log(`\n== ${file}`);
  const run = Bun.spawn([process.execPath, join(import.meta.dirname, file)], {
    stdout: "pipe",
    stderr: "inherit",
  });
  running = run;
  let pending = "";
  for await (const chunk of run.stdout.pipeThrough(new TextDecoderStream())) {
    const lines = (pending + chunk).split("\n");
    pending = lines.pop()!;
    for (const line of lines) take(line);
  }
  if (pending !== "") take(pending);
  if ((await run.exited) !== 0) failed.push(file);
  removeLeftFolders();
}

function take(line: string): void {
  if (!line.startsWith(rowMark)) {
    console.log(line);
    return;
  }
  const row = JSON.parse(line.slice(rowMark.length)) as BenchRow;
  rows.push(row);
  console.log(tableLine(row));
}

function tableLine({ row, what, measured, goal, better, unit, from }: BenchRow): string {
  const met = better === "less" ? measured <= goal : measured >= goal;
  const digits = measured < 10 ? 2 : 0;
  const limit = `${better === "less" ? "≤" : "≥"} ${goal}`;
  return [
    String(row).padStart(3),
    what.padEnd(56),
    `${measured.toFixed(digits).padStart(7)} ${unit}`.padEnd(20),
    limit.padStart(7),
    met ? "met   " : "missed",
    from,
  ].join("  ");
}

console.log(`\n${"row".padStart(3)}  ${"what".padEnd(56)}  ${"measured".padEnd(20)}  ${"goal".padStart(7)}`);
for (const row of rows.toSorted((a, b) => a.row - b.row)) console.log(tableLine(row));
for (const file of failed) console.log(`${file} ended with an error: its rows are missing`);
process.exitCode = failed.length === 0 ? 0 : 1;
