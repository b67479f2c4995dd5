import { readFileSync, rmSync } from "node:fs";
import { join } from "node:path";
import { Worker } from "node:worker_threads";
import { writeFrames } from "./frame-files.ts";
import type { Share } from "./memory-worker.ts";
import {
  benchFolder,
  compilePeer,
  medianOf,
  milliseconds,
  rangeText,
  runProcess,
  tellRow,
} from "./side-by-side.ts";

/**
 * Fifty frames of 9 Mpx in memory, two threads: ours, plain C and numpy. Each side holds its own copy, so they run
 * one after the other: C, ours, C again. With a mean, as with the rest, we tell one sigma of each pixel and a mask; C is
 * measured both without (`s`) and with them (`a`), and only reading what is there (`r`).
 */
const folder = benchFolder("memory");
const [widthPx, heightPx, times] = [3000, 3000, 5];
const pxCount = widthPx * heightPx;
const files = writeFrames(folder, { count: 50, widthPx, heightPx });
const peerC = compilePeer("stack", folder);
const raw = join(folder, "peer.raw");

const control = new Int32Array(new SharedArrayBuffer(12));
const result = new Float32Array(new SharedArrayBuffer(4 * pxCount));
const half = pxCount / 2;
for (const startPx of [0, half]) {
  const share: Share = { files, startPx, pxCount: half, control, result };
  new Worker(new URL("./memory-worker.ts", import.meta.url), { workerData: share });
}
let answers = 2;
waitFor(answers);

function waitFor(count: number): void {
  for (let seen = Atomics.load(control, 2); seen < count; seen = Atomics.load(control, 2))
    Atomics.wait(control, 2, seen);
}

function order(index: number): void {
  Atomics.store(control, 1, index);
  Atomics.add(control, 0, 1);
  Atomics.notify(control, 0);
}

function ours(index: number): number {
  return milliseconds(() => {
    order(index);
    answers += 2;
    waitFor(answers);
  });
}

const numbers = (text: string) => text.trim().split("\n").map(Number);

function check(what: string, tolerance: number, allowed = 0): void {
  const theirs = new Float32Array(readFileSync(raw).buffer.slice(0, 4 * pxCount));
  let different = 0;
  for (let i = 0; i < pxCount; i++) if (!(Math.abs(theirs[i]! - result[i]!) <= tolerance)) different++;
  // A value just at its limit may fall to the other side in float32.
  if (different > pxCount * allowed) throw new Error(`${what}: ${different} pixels differ`);
}

for (const [index, method] of (["mean", "clipped", "median"] as const).entries()) {
  const letter = { mean: "s", clipped: "c", median: "m" }[method];
  const runC = (count: number, own = letter) =>
    numbers(runProcess([peerC, "memory", own, raw, String(count), ...files]).text);
  ours(index);
  const before = runC(3);
  const mine = Array.from({ length: times }, () => ours(index));
  const inC = [...before, ...runC(3)];
  check(`${method} in C`, 0.002);
  if (method === "mean") tellMean(mine, runC(5, "a"), runC(5, "r"));
  const pythonTimes = method === "mean" ? 5 : 1;
  const script = join(import.meta.dirname, "peers/memory.py");
  const python = runProcess(["/usr/bin/python3", script, method, raw, String(pythonTimes), ...files]);
  check(`${method} in numpy`, 0.005, method === "clipped" ? 1e-5 : 0);
  const inNumpy = numbers(python.text);
  const row = { mean: 1, clipped: 4, median: 8 }[method];
  const what = `${method} of 50 x 9 Mpx uint16 in memory, 2 threads`;
  if (method !== "median")
    tellRow({
      ...{ row, what, measured: medianOf(mine) / medianOf(inC), goal: method === "mean" ? 1.25 : 1.4 },
      ...{ better: "less", unit: "x C", from: `ours ${rangeText(mine)}, C ${rangeText(inC)}` },
    });
  tellRow({
    ...{
      row,
      what,
      measured: medianOf(inNumpy) / medianOf(mine),
      goal: { mean: 8, clipped: 8, median: 10 }[method],
    },
    ...{ better: "more", unit: "x numpy", from: `ours ${rangeText(mine)}, numpy ${rangeText(inNumpy)}` },
  });
}

function tellMean(mine: readonly number[], withSigma: readonly number[], reading: readonly number[]): void {
  check("mean with sigma in C", 0.002);
  const from = `ours ${rangeText(mine)}`;
  tellRow({
    ...{ row: 1, what: "the same, C with sigma and mask too", goal: 1.25, better: "less", unit: "x C" },
    ...{ measured: medianOf(mine) / medianOf(withSigma), from: `${from}, C ${rangeText(withSigma)}` },
  });
  tellRow({
    ...{
      row: 1,
      what: "the same, of what only reading would take",
      goal: 65,
      better: "more",
      unit: "% of reading",
    },
    ...{
      measured: (100 * medianOf(reading)) / medianOf(mine),
      from: `${from}, reading ${rangeText(reading)}`,
    },
  });
}

order(-1);
rmSync(folder, { recursive: true });
