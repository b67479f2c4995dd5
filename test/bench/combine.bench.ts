import { mkdirSync, readFileSync, rmSync } from "node:fs";
import { join } from "node:path";
import { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { writeFrames } from "./frame-files.ts";
import {
  benchFolder,
  compilePeer,
  inTurn,
  medianOf,
  type ProcessRun,
  rangeText,
  runProcess,
  tellRow,
} from "./side-by-side.ts";

/**
 * Whole processes, from the start of the program to the master on the disk: `evenfield combine`, plain C with two
 * threads, and (once, for it takes long) `ccdproc.combine`.
 */
const folder = benchFolder("combine");
const times = 5;
const program = join(import.meta.dirname, "../../agent/main.ts");
const peerC = compilePeer("stack", folder);
const output = join(folder, "master.fits");
const rawOutput = join(folder, "master.raw");

type Method = "mean" | "clipped" | "median";
const letters = { mean: "a", clipped: "c", median: "m" } as const;

const ours = (method: Method, files: readonly string[]) =>
  runProcess([process.execPath, program, "combine", ...files, "-o", output, "--method", method, "--replace"]);
const inC = (method: Method, files: readonly string[]) =>
  runProcess([peerC, "files", letters[method], rawOutput, ...files]);

/** Value and sigma to a step of float32. */
function checkAgainstC(): void {
  const { data, sigma } = readCcdImage(output);
  const theirs = new Float32Array(readFileSync(rawOutput).buffer.slice(0, 8 * data.length));
  for (let i = 0; i < data.length; i++) {
    const [value, noise] = [theirs[i]!, theirs[data.length + i]!];
    if (Math.abs(data[i]! - value) > 1.2e-7 * value || Math.abs(sigma![i]! - noise) > 1e-6 * noise + 1e-6)
      throw new Error(`pixel ${i}: ${data[i]} ± ${sigma![i]}, in C ${value} ± ${noise}`);
  }
}

function checkAgainstCcdproc(path: string): void {
  const { data } = readCcdImage(output);
  const theirs = new Float32Array(readFileSync(path).buffer.slice(0));
  const worst = data.reduce((most, value, i) => Math.max(most, Math.abs(value - theirs[i]!)), 0);
  if (worst > 0.01) throw new Error(`ccdproc differs by ${worst}`); // its float32 sums
}

function fiftyFrames(method: "mean" | "clipped", row: number, goals: { ccdproc: number }): void {
  const memory: number[] = [];
  const taken = inTurn(times, {
    ours: () => keep(ours(method, files), memory),
    C: () => inC(method, files).ms,
  });
  checkAgainstC();
  const peerFile = join(folder, "ccdproc.f32");
  const python = runProcess([
    "/usr/bin/python3",
    join(import.meta.dirname, "peers/combine.py"),
    method,
    peerFile,
    ...files,
  ]);
  checkAgainstCcdproc(peerFile);
  const [mine, theirs] = [medianOf(taken.ours), medianOf(taken.C)];
  const what = `${files.length} FITS files of 9 Mpx, ${method}, whole process`;
  const from = `ours ${rangeText(taken.ours)}`;
  tellRow({
    ...{ row, what, measured: python.ms / mine, goal: goals.ccdproc, better: "more", unit: "x ccdproc" },
    from: `${from}, ccdproc ${python.ms.toFixed(0)} ms (once, ${python.mebibytes.toFixed(0)} MiB)`,
  });
  if (method !== "clipped") return;
  tellRow({
    ...{ row, what, measured: mine / theirs, goal: 1.7, better: "less", unit: "x C" },
    from: `${from}, C ${rangeText(taken.C)}`,
  });
  tellRow({
    ...{ row, what, measured: Math.max(...memory), goal: 110, better: "less", unit: "MiB" },
    from: `peak of ${times} runs`,
  });
}

function keep(run: ProcessRun, memory: number[]): number {
  memory.push(run.mebibytes);
  return run.ms;
}

let files = writeFrames(folder, { count: 50, widthPx: 3000, heightPx: 3000 });
fiftyFrames("clipped", 5, { ccdproc: 60 });
fiftyFrames("mean", 6, { ccdproc: 40 });
for (const file of files) rmSync(file);

mkdirSync(join(folder, "thousand"));
files = writeFrames(join(folder, "thousand"), { count: 1000, widthPx: 1920, heightPx: 1080 });
const memory: number[] = [];
const taken = inTurn(times, {
  ours: () => keep(ours("clipped", files), memory),
  reading: () => Number(runProcess([peerC, "read", ...files]).text),
});
inC("clipped", files);
checkAgainstC();
const row = { row: 7, what: "1000 FITS files of 2.1 Mpx, clipped, whole process", better: "less" } as const;
tellRow({
  ...{ ...row, measured: medianOf(taken.ours) / medianOf(taken.reading), goal: 5, unit: "x reading" },
  from: `ours ${rangeText(taken.ours)}, reading ${rangeText(taken.reading)}`,
});
tellRow({ ...row, measured: Math.max(...memory), goal: 128, unit: "MiB", from: `peak of ${times} runs` });
rmSync(folder, { recursive: true });
