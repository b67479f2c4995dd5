import { expect, test } from "vitest";
import { neighbourNoise } from "../../../../agent/imaging/noise/neighbour-noise.ts";
import { Random } from "../../../../drivers/kit/random.ts";

test("the noise of a tilted, vignetted picture with hot pixels is the noise that was put in", () => {
  const random = new Random(3);
  const [widthPx, heightPx, sigma] = [300, 200, 12];
  const picture = Float32Array.from({ length: widthPx * heightPx }, (_, i) => {
    const [x, y] = [i % widthPx, Math.floor(i / widthPx)];
    return 1000 + 0.5 * x + 0.2 * y + sigma * random.gauss() + (random.uniform() < 0.005 ? 5000 : 0);
  });
  picture[7] = Number.NaN;
  const all = new Uint8Array(picture.length).fill(1);
  expect(Math.abs(neighbourNoise(picture, all, widthPx)! / sigma - 1)).toBeLessThan(0.03);
  expect(neighbourNoise(picture, new Uint8Array(picture.length), widthPx)).toBeUndefined();
});
