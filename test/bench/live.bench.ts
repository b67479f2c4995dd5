import type { Master } from "../../agent/imaging/combining/finish-master.ts";
import { MasterBuilder } from "../../agent/imaging/combining/master-builder.ts";
import { Random } from "../../drivers/kit/random.ts";
import { medianOf, milliseconds, rangeText, tellRow } from "./side-by-side.ts";

/** By then each stripe has its reference and the frames that waited for it. */
const settledFrames = 36;

/**
 * A live master with rejection, 9 Mpx, dark taken off: what a frame costs with all that is asked of it (level, evenness,
 * growth of noise, sums), and the dearest one, the first ones with their reference apart. One thread.
 */
const [widthPx, heightPx, rounds, frameCount] = [3000, 3000, 5, 120];
const pxCount = widthPx * heightPx;
const random = new Random(20260714);
const pool = Array.from({ length: 24 }, () => {
  const pixels = new Uint16Array(pxCount);
  for (let px = 0; px < pxCount; px++)
    pixels[px] = 30_000 + 300 * (random.uniform() + random.uniform() + random.uniform() - 1.5);
  for (let k = 0; k < pxCount / 10_000; k++) pixels[Math.floor(random.uniform() * pxCount)] = 60_000; // struck
  return pixels;
});
const dark = { meanAdu: new Float32Array(pxCount).fill(300), sigmaAdu: new Float32Array(pxCount).fill(2) };
const frame = (k: number) => pool[k % pool.length]!;
/** The same frames for C and for two passes. */
const series = Array.from({ length: frameCount }, (_, k) => frame(k));

const perFrame: number[] = [];
const dearest: number[] = [];
const first: number[] = [];
let master: Master | undefined;
for (let round = 0; round < rounds; round++) {
  const builder = new MasterBuilder({
    ...{ shape: { widthPx, heightPx }, frameCountExpected: frameCount, kind: "light", dark },
  });
  const taken = series.map((pixels, k) =>
    milliseconds(() => {
      if (!builder.add(pixels).accepted) throw new Error(`frame ${k} was refused`);
    }),
  );
  const later = taken.slice(settledFrames);
  perFrame.push(later.reduce((sum, ms) => sum + ms, 0) / later.length);
  dearest.push(Math.max(...later));
  first.push(Math.max(...taken.slice(1, settledFrames)));
  master = builder.finish();
}

/** Median and deviation over all frames first, then the mean of what lies within 5 deviations; on some pixels. */
function twoPasses(px: number, scales: readonly number[]): number {
  const values = series.map((pixels, k) => (pixels[px]! - dark.meanAdu[px]!) / scales[k]!);
  const middle = medianOf(values);
  const deviations = values.map((value) => Math.abs(value - middle));
  const near = values.filter((_, k) => deviations[k]! <= 5 * Math.max(1.4826 * medianOf(deviations), 150));
  return near.reduce((sum, value) => sum + value, 0) / near.length;
}
for (let px = 0; px < pxCount; px += 997) {
  const apart = Math.abs(twoPasses(px, master!.scales) - master!.meanAdu[px]!);
  if (!(apart < 0.02)) throw new Error(`pixel ${px}: two passes differ by ${apart} adu`);
}

tellRow({
  ...{ row: 3, what: "live accumulation with rejection, 9 Mpx, 1 thread", better: "less" },
  ...{ goal: 2.5, unit: "ms a frame", measured: medianOf(perFrame) },
  from: `mean ${rangeText(perFrame)}, dearest ${rangeText(dearest)}, of frames 2 to ${settledFrames} ${rangeText(first)}`,
});
