import { expect, test } from "vitest";
import { measureSharpness } from "../../../../agent/imaging/defocus/sharpness.ts";
import { gaussianBlur } from "../../../../agent/imaging/numerics/gaussian-blur.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { blurPupil } from "../../../../sim-devices/scene/optics/blur.ts";

const shape = { widthPx: 200, heightPx: 160 };
const all = new Uint8Array(200 * 160).fill(1);
const random = new Random(11);
const sun = gaussianBlur(
  Float32Array.from({ length: 200 * 160 }, () => random.gauss()),
  shape,
  1,
  all,
).map((value) => 5000 * (1 + 0.1 * value));
const seen = (picture: Float32Array, noise: number) =>
  picture.map((value) => value * (1 + noise * random.gauss()));

test("noise is not sharpness", () => {
  const even = new Float32Array(200 * 160).fill(5000);
  const { rms, sigma } = measureSharpness(seen(even, 0.01), seen(even, 0.01), all, shape);
  expect(rms).toBeLessThan(3 * sigma);
  const [quiet, noisy] = [0.001, 0.02].map((noise) =>
    measureSharpness(seen(sun, noise), seen(sun, noise), all, shape),
  );
  expect(Math.abs(noisy!.rms / quiet!.rms - 1)).toBeLessThan(0.1);
});

test("it falls as focus is left, and does not depend on the exposure", () => {
  const inner = all.map((_, i) => {
    const [x, y] = [i % 200, Math.floor(i / 200)];
    return x >= 20 && y >= 20 && x < 180 && y < 140 ? 1 : 0; // blur brings in the dark from outside
  });
  const values = [0, 1, 2, 4].map((radius) => {
    const picture = radius === 0 ? sun : blurPupil(sun, 200, 160, radius, 0);
    return measureSharpness(seen(picture, 0.003), seen(picture, 0.003), inner, shape).rms;
  });
  for (const [k, value] of values.entries()) if (k > 0) expect(value).toBeLessThan(0.95 * values[k - 1]!);
  const half = sun.map((value) => value / 2);
  expect(measureSharpness(half, half, all, shape).rms).toBeCloseTo(
    measureSharpness(sun, sun, all, shape).rms,
    5,
  );
});
