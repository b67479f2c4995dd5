import { readFileSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { applyToUint16, prepareFlat } from "../../agent/imaging/combining/apply.ts";
import { countCodes, quantileAdu } from "../../agent/imaging/exposure/histogram.ts";
import { Random } from "../../drivers/kit/random.ts";
import {
  benchFolder,
  compilePeer,
  inTurn,
  medianOf,
  milliseconds,
  rangeText,
  runProcess,
  tellRow,
} from "./side-by-side.ts";

/** One frame of 9 Mpx in memory: histogram with exact percentiles, and flat division, beside numpy and plain C. */
const [widthPx, heightPx, turns] = [3000, 3000, 7];
const pxCount = widthPx * heightPx;
const folder = benchFolder("pixels");
const random = new Random(20260714);
const imageAdu = Uint16Array.from({ length: pxCount }, () => 30_000 + 900 * random.gauss());
const gain = Float32Array.from(
  { length: pxCount },
  (_, px) => 1 - 0.3 * ((px % widthPx) / widthPx - 0.5) ** 2,
);
const darkAdu = Float32Array.from({ length: pxCount }, () => 300 + 4 * random.gauss());
const shape = { widthPx, heightPx };
const mask = new Uint8Array(pxCount);
const flat = { shape, gain, sigma: new Float32Array(pxCount), mask, levelAdu: 1 };
const factors = prepareFlat(flat, { darkAdu });
for (const [name, array] of Object.entries({
  "image.u16": imageAdu,
  "flat.f32": gain,
  "factor.f32": factors.division.factor,
  "dark.f32": darkAdu,
}))
  writeFileSync(join(folder, name), array);

const peerC = compilePeer("divide", folder);
const script = join(import.meta.dirname, "peers/pixels.py");
const shares = [0.01, 0.25, 0.5, 0.75, 0.99];

let counts = countCodes(imageAdu);
let percentiles = shares.map((share) => quantileAdu(counts, share));
let divided = applyToUint16(imageAdu, factors, { pedestalAdu: 300 }).imageAdu;
const figures = () =>
  milliseconds(() => {
    counts = countCodes(imageAdu);
    percentiles = shares.map((share) => quantileAdu(counts, share));
  });
const divide = () =>
  milliseconds(() => {
    divided = applyToUint16(imageAdu, factors, { pedestalAdu: 300 }).imageAdu;
  });
const taken = inTurn(turns, {
  figures: () => Math.min(figures(), figures()),
  divide: () => Math.min(divide(), divide()),
  C: () => Math.min(...numbers(runProcess([peerC, "memory", "2", String(pxCount), folder]).text)),
});
const python = runProcess(["/usr/bin/python3", script, "5", String(widthPx), String(heightPx), folder]).text;
const inNumpy = (what: string) =>
  python
    .split("\n")
    .filter((line) => line.startsWith(`${what} `))
    .map((line) => Number(line.split(" ")[1]));

function numbers(text: string): number[] {
  return text.trim().split("\n").map(Number);
}

const theirCounts = new Uint32Array(readFileSync(join(folder, "counts.u32")).buffer.slice(0, 4 * 65_536));
const theirPercentiles = /percentiles (.*)/.exec(python)![1]!.split(" ").map(Number);
if (!counts.every((count, code) => count === theirCounts[code])) throw new Error("histograms differ");
if (!percentiles.every((value, k) => value === theirPercentiles[k])) throw new Error("percentiles differ");
for (const [name, most] of [
  ["c.u16", 1], // product and sum rounded once there
  ["numpy.u16", 1], // it divides where we multiply
] as const) {
  const theirs = new Uint16Array(readFileSync(join(folder, name)).buffer.slice(0, 2 * pxCount));
  if (!divided.every((value, px) => Math.abs(value - theirs[px]!) <= most))
    throw new Error(`${name} differs`);
}

tellRow({
  ...{ row: 12, what: "histogram and exact percentiles, 9 Mpx", better: "more", goal: 15, unit: "x numpy" },
  measured: medianOf(inNumpy("figures")) / medianOf(taken.figures),
  from: `ours ${rangeText(taken.figures)}, numpy ${rangeText(inNumpy("figures"))}`,
});
const row = { row: 13, what: "dark, flat division and rounding, 9 Mpx, 1 thread" } as const;
tellRow({
  ...{ ...row, better: "more", goal: 8, unit: "x numpy" },
  measured: medianOf(inNumpy("divide")) / medianOf(taken.divide),
  from: `ours ${rangeText(taken.divide)}, numpy ${rangeText(inNumpy("divide"))}`,
});
tellRow({
  ...{
    ...row,
    better: "less",
    goal: 1.35,
    unit: "x C",
    measured: medianOf(taken.divide) / medianOf(taken.C),
  },
  from: `ours ${rangeText(taken.divide)}, C ${rangeText(taken.C)}`,
});
rmSync(folder, { recursive: true });
