import { readFileSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { solveDisplaced } from "../../agent/imaging/displaced/solve-displaced.ts";
import { makeSweepKernels } from "../../agent/imaging/displaced/sweep-kernels.ts";
import { RealFft2d } from "../../agent/imaging/numerics/fft.ts";
import { loadFft } from "../../agent/imaging/numerics/fft-library.ts";
import { Threads } from "../../agent/threads/threads.ts";
import { Random } from "../../drivers/kit/random.ts";
import { patterns } from "../campaign/displaced-scene/patterns.ts";
import { driftingFrames } from "./displaced-frames.ts";
import { benchFolder, medianOf, rangeText, tellRow } from "./side-by-side.ts";

/** `bun test/bench/displaced.bench.ts [TURNS]`: Fourier transform and displaced solution beside scipy and numpy. */
const turns = Number(process.argv[2] ?? 5);
const folder = benchFolder("displaced");
const peer = Bun.spawn(["/usr/bin/python3", join(import.meta.dirname, "peers/displaced.py")], {
  stdin: "pipe",
  stdout: "pipe",
});
const answers = peer.stdout.getReader();

async function ask(command: string): Promise<number> {
  await peer.stdin.write(`${command}\n`);
  await peer.stdin.flush();
  let text = "";
  while (!text.includes("\n")) {
    const { value, done } = await answers.read();
    if (done) throw new Error(`the peer ended at ${command}`);
    text += new TextDecoder().decode(value);
  }
  return Number(text);
}

const fft = await loadFft();

async function transforms(): Promise<void> {
  const side = 2048;
  const random = new Random(1);
  const picture = Float32Array.from({ length: side * side }, () => random.gauss());
  using transform = new RealFft2d(fft, { widthPx: side, heightPx: side });
  const spectrum = transform.newSpectrum();
  const [ours, theirs]: [number[], number[]] = [[], []];
  for (let turn = 0; turn < 4 * turns + 4; turn++) {
    const start = Bun.nanoseconds();
    transform.forward(picture, spectrum);
    const took = (Bun.nanoseconds() - start) / 1e6;
    const peerTook = await ask(`fft ${side}`);
    if (turn < 4) continue; // compiled by then
    ours.push(took);
    theirs.push(peerTook);
  }
  tellRow({
    row: 15,
    what: `real Fourier transform of ${side}²`,
    measured: medianOf(ours) / medianOf(theirs),
    goal: 1.2,
    better: "less",
    unit: "x scipy float32",
    from: `${rangeText(ours)}; scipy ${rangeText(theirs)}`,
  });
}

async function solutions(): Promise<void> {
  const [widthPx, heightPx, count] = [1936, 1096, 60];
  const { frames, gain } = driftingFrames({
    widthPx,
    heightPx,
    shifts: patterns.spiral(count, 250),
    seed: 3,
  });
  const file = join(folder, "frames");
  const out = join(folder, "gain");
  writeFileSync(file, Buffer.concat(frames.map((frame) => new Uint8Array(frame.buffer))));
  const residentBefore = process.memoryUsage().rss;
  const times: number[] = [];
  let solved = new Float32Array(0);
  let [residentMost, pauseMost] = [0, 0];
  for (let turn = 0; turn < turns; turn++) {
    const start = Bun.nanoseconds();
    const readLevels = (k: number, into: Float32Array) => into.set(frames[k]!);
    const work = solveDisplaced(
      { shape: { widthPx, heightPx }, frameCount: count, readLevels },
      { fft, makeKernels: makeSweepKernels, startThread: new Threads(() => {}).startDisplaced },
    );
    let step: ReturnType<typeof work.next>;
    do {
      const before = Bun.nanoseconds();
      step = work.next();
      pauseMost = Math.max(pauseMost, (Bun.nanoseconds() - before) / 1e6);
    } while (!step.done);
    times.push((Bun.nanoseconds() - start) / 1e9);
    residentMost = Math.max(residentMost, process.memoryUsage().rss);
    solved = step.value.flat.gain.map(Math.log);
  }
  const peerSeconds = await ask(`solve ${file} ${count} ${widthPx} ${heightPx} ${out}`);
  const theirs = new Float32Array(readFileSync(out).buffer);
  const truth = gain.map(Math.log);
  const floor = 0.01 / Math.sqrt(count);
  const apart = rmsApart(solved, theirs, widthPx);
  const figures = [rmsApart(solved, truth, widthPx), rmsApart(theirs, truth, widthPx)].map(
    (rms) => rms / floor,
  );
  if (apart > 0.5 * floor) throw new Error(`the solutions differ by ${apart}`);
  tellRow({
    row: 19,
    what: `displaced solution, ${count} x ${((widthPx * heightPx) / 1e6).toFixed(1)} Mpix, registration included`,
    measured: medianOf(times),
    goal: 15,
    better: "less",
    unit: "s",
    from: `${rangeText(times, "s")}; numpy and scipy ${peerSeconds.toFixed(0)} s, once`,
  });
  const [mine, other] = figures.map((figure) => figure.toFixed(3));
  const mib = (residentMost - residentBefore) / 2 ** 20;
  console.log(
    `error over the noise floor ${mine}, numpy's ${other}; ${mib.toFixed(0)} MiB resident more than before, ` +
      `${((2 * widthPx * heightPx * count) / 2 ** 20).toFixed(0)} of them logarithms; longest pause ${pauseMost.toFixed(0)} ms`,
  );
}

/** Rms of the difference, its mean and plane taken out. */
function rmsApart(a: Float32Array, b: Float32Array, widthPx: number): number {
  const heightPx = a.length / widthPx;
  let [sum, sx, sy, sxx, syy, squares] = [0, 0, 0, 0, 0, 0];
  for (let i = 0; i < a.length; i++) {
    const x = (i % widthPx) - (widthPx - 1) / 2;
    const y = Math.floor(i / widthPx) - (heightPx - 1) / 2;
    const d = a[i]! - b[i]!;
    sum += d;
    squares += d * d;
    sx += x * d;
    sy += y * d;
    sxx += x * x;
    syy += y * y;
  }
  return Math.sqrt((squares - sum ** 2 / a.length - sx ** 2 / sxx - sy ** 2 / syy) / a.length);
}

await transforms();
await solutions();
await peer.stdin.end();
await peer.exited;
rmSync(folder, { recursive: true });
