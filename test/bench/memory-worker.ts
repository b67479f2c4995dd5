import { workerData } from "node:worker_threads";
import { CountCombiner } from "../../agent/imaging/combining/combine-counts.ts";
import { medianNoise } from "../../agent/imaging/noise/median-noise.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";

/** Holds a run of pixels of all frames in memory and combines it whenever it is asked to. */
export interface Share {
  readonly files: readonly string[];
  readonly startPx: number;
  readonly pxCount: number;
  /** [0] counts orders, [1] what is ordered (an index of `orders`, or -1 for the end), [2] counts answers. */
  readonly control: Int32Array;
  readonly result: Float32Array;
}
export const orders = ["mean", "clipped", "median"] as const;

const { files, startPx, pxCount, control, result } = workerData as Share;
const combiner = CountCombiner.make({ frameCount: files.length, tilePx: pxCount, stored: "native" })!;
for (const [index, path] of files.entries()) {
  using file = FitsFile.open(path);
  const pixels = file.image().readPixels(startPx, pxCount);
  combiner.frame(index, pxCount).set(new Uint8Array(pixels.buffer, pixels.byteOffset, pixels.byteLength));
}
answer();
for (let order = 1; ; order++) {
  while (Atomics.load(control, 0) < order) Atomics.wait(control, 0, order - 1);
  const method = orders[Atomics.load(control, 1)];
  if (method === undefined) break;
  const { value } = combiner.combine(pxCount, {
    method,
    sigmas: 3,
    zeroAdu: 32768,
    medianNoise: medianNoise(files.length),
    clipAdu: 65_536,
  });
  result.set(value, startPx);
  answer();
}

function answer(): void {
  Atomics.add(control, 2, 1);
  Atomics.notify(control, 2);
}
