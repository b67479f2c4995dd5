import { expect, test } from "vitest";
import { FrameMean } from "../../../../agent/imaging/combining/frame-mean.ts";
import { makeFrameSums } from "../../../../agent/imaging/combining/frame-sums.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainFrameSums } from "../../../reference/frame-sums.ts";

const seed = 20260714;

test("mean and levels of frames: compiled and plain ones are equal; arrays are let go when they are summed", () => {
  const random = new Random(seed);
  for (const [widthPx, heightPx] of [
    [1, 1],
    [7, 3],
    [960, 2],
    [101, 33],
  ] as const) {
    const shape = { widthPx, heightPx };
    const pxCount = widthPx * heightPx;
    const unhealthyPx = Uint8Array.from({ length: pxCount }, () => (random.uniform() < 0.01 ? 1 : 0));
    const frames = Array.from({ length: 19 }, () =>
      Uint16Array.from({ length: pxCount }, () => 65_536 * random.uniform()),
    );
    for (const frame of frames.slice(8, 16)) frame.fill(65_535); // as many as one pass takes, at the most they can hold
    const [got, wanted] = [makeFrameSums, plainFrameSums].map((make) => {
      const mean = new FrameMean(shape, unhealthyPx, make);
      for (const frame of frames) mean.add(frame);
      return mean;
    });
    expect(got!.released()).toEqual(frames.slice(0, 16));
    expect(got!.mean(), `seed ${seed}`).toEqual(wanted!.mean());
    expect(got!.levelsAdu, `seed ${seed}`).toEqual(wanted!.levelsAdu);
    expect(got!.released()).toEqual(frames.slice(16));
    expect(got!.frameCount).toBe(19);
    const px = pxCount - 1;
    const mean = frames.reduce((sum, frame) => sum + frame[px]!, 0) / 19;
    expect(Math.abs(got!.mean()[px]! / mean - 1)).toBeLessThan(1e-6);
    const healthy = Array.from(frames[18]!).filter((_, i) => unhealthyPx[i] === 0);
    const level = healthy.reduce((sum, value) => sum + value, 0) / Math.max(1, healthy.length);
    expect(got!.levelsAdu[18]).toBeCloseTo(level, 6);
  }
});
