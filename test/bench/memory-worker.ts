import { workerData } from "node:worker_threads";
import { CountCombiner } from "../../agent/imaging/combining/combine-counts.ts";
import { medianNoise } from "../../agent/imaging/noise/median-noise.ts";
import { tilePxFor } from "../../agent/open-files/stored-stack.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { encodePixels } from "../../drivers/formats/fits-write.ts";

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
const frameCount = files.length;
/** As FITS stores them. */
const frames = files.map((path) => {
  using file = FitsFile.open(path);
  const pixels = file.image().readPixels(startPx, pxCount) as Uint16Array;
  const bytes = new Uint8Array(2 * pxCount);
  encodePixels(pixels, bytes);
  return bytes;
});
const tilePx = tilePxFor(frameCount, pxCount);
const combiner = new CountCombiner({ frameCount, tilePx });
answer();
for (let order = 1; ; order++) {
  while (Atomics.load(control, 0) < order) Atomics.wait(control, 0, order - 1);
  const method = orders[Atomics.load(control, 1)];
  if (method === undefined) break;
  for (let start = 0; start < pxCount; start += tilePx) {
    const length = Math.min(tilePx, pxCount - start);
    for (let first = 0; first < frameCount; first += combiner.framesAtOnce) {
      const some = frames.slice(first, first + combiner.framesAtOnce);
      for (const [place, frame] of some.entries())
        combiner.frame(place, length).set(frame.subarray(2 * start, 2 * (start + length)));
      combiner.gather(first, some.length, length);
    }
    const { value } = combiner.combine(length, {
      method,
      sigmas: 3,
      zeroAdu: 32768,
      medianNoise: medianNoise(frameCount),
      clipAdu: 65_536,
    });
    result.set(value, startPx + start);
  }
  answer();
}

function answer(): void {
  Atomics.add(control, 2, 1);
  Atomics.notify(control, 2);
}
