import { expect, test } from "vitest";
import { measureClearShare } from "../../../../agent/imaging/light/clear-share.ts";
import { lightScene } from "./light-scene.ts";

const seed = 20261203;

test.each([0, 0.01, 0.05])(
  "a sheet that lets %d of the light through clear, from one frame through it and one without",
  (share) => {
    const { input } = lightScene({
      seed,
      shape: { widthPx: 240, heightPx: 180 },
      radiusHeights: 0.42,
      looks: 1,
      error: (_, __, sun) => Math.log(1 + share * sun),
    });
    const found = measureClearShare({ ...input, plainAdu: input.looks[0]!, disc: input.disc! })!;
    expect(Math.abs(found.share - share), `seed ${seed}: ${JSON.stringify(found)}`).toBeLessThan(
      // The disc's middle, whose level is 1, has structure of its own.
      Math.max(3 * found.sigma, 0.001, 0.1 * share),
    );
    expect(found.sigma).toBeLessThan(0.0008 + 0.05 * share);
  },
);

test("a frame without light tells no share", () => {
  const { input } = lightScene({ seed, looks: 1 });
  const plainAdu = input.looks[0]!.map(() => Number.NaN);
  expect(measureClearShare({ ...input, plainAdu })).toBeUndefined();
});
