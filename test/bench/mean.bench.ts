import { rmSync } from "node:fs";
import { FrameMean } from "../../agent/imaging/combining/frame-mean.ts";
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

/**
 * The plain mean of a live series, 9 Mpx: what a frame costs beside reading it once from memory, in plain C. One thread.
 * Frames are more than any cache near the processor holds.
 */
const [widthPx, heightPx, turns, passes] = [3000, 3000, 7, 3];
const random = new Random(20260714);
const pool = Array.from({ length: 16 }, () => {
  const first = 65_536 * random.uniform();
  return Uint16Array.from({ length: widthPx * heightPx }, (_, px) => first + px);
});
const folder = benchFolder("mean");
const peerC = compilePeer("read-memory", folder);
let mean = new FrameMean({ widthPx, heightPx });
const ours = () => {
  mean = new FrameMean({ widthPx, heightPx });
  for (const pixels of pool) mean.add(pixels); // its sums' memory is touched for the first time
  const taken = milliseconds(() => {
    for (let pass = 0; pass < passes; pass++) for (const pixels of pool) mean.add(pixels);
  });
  return taken / passes / pool.length;
};
ours(); // compiles
const taken = inTurn(turns, {
  ours,
  reading: () =>
    Number(runProcess([peerC, String(pool.length), String(2 * widthPx * heightPx), String(passes)]).text),
});
const got = mean.mean();
for (let px = 0; px < got.length; px += 1009) {
  const wanted = pool.reduce((sum, pixels) => sum + pixels[px]!, 0) / pool.length;
  if (!(Math.abs(got[px]! - wanted) < 0.01)) throw new Error(`pixel ${px}: ${got[px]} instead of ${wanted}`);
}
tellRow({
  ...{
    row: 2,
    what: "live accumulation, plain mean, 9 Mpx, 1 thread",
    better: "less",
    goal: 1.6,
    unit: "x reading",
  },
  measured: medianOf(taken.ours) / medianOf(taken.reading),
  from: `ours ${rangeText(taken.ours)} a frame, reading it in C ${rangeText(taken.reading)}`,
});
rmSync(folder, { recursive: true });
