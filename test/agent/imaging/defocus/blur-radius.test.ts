import { expect, test } from "vitest";
import { blurRadius } from "../../../../agent/imaging/defocus/blur-radius.ts";
import { gaussianBlur } from "../../../../agent/imaging/numerics/gaussian-blur.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { blurPupil } from "../../../../sim-devices/scene/optics/blur.ts";

const shape = { widthPx: 240, heightPx: 200 };
const all = new Uint8Array(240 * 200).fill(1);

function texture(seed: number): Float32Array {
  const random = new Random(seed);
  const noise = Float32Array.from({ length: 240 * 200 }, () => random.gauss());
  return gaussianBlur(noise, shape, 1.2, all).map((value) => 1000 * (1 + 0.2 * value));
}

test.each([2.5, 4.2, 8])("a blur of %s px is measured to 5 %%, noise or not", (radiusPx) => {
  const sharp = texture(1);
  const random = new Random(2);
  const soft = blurPupil(sharp, 240, 200, radiusPx, 0).map((value) => value * (1 + 0.003 * random.gauss()));
  const found = blurRadius(sharp, soft, all, shape, 12)!;
  expect(Math.abs(found.radiusPx / radiusPx - 1)).toBeLessThan(0.05);
  expect(found.explained).toBeGreaterThan(0.8);
});

test("a pupil with a hole in it counts as nearly as large", () => {
  const found = blurRadius(texture(3), blurPupil(texture(3), 240, 200, 6, 2), all, shape, 12)!;
  expect(Math.abs(found.radiusPx / 6 - 1)).toBeLessThan(0.12);
});

test("another picture, the same picture, or more blur than was asked for: no radius", () => {
  expect(blurRadius(texture(4), texture(5), all, shape, 12)).toBeUndefined();
  expect(blurRadius(texture(4), texture(4), all, shape, 12)).toBeUndefined();
  expect(blurRadius(texture(4), blurPupil(texture(4), 240, 200, 11.8, 0), all, shape, 6)).toBeUndefined();
});

test("pixels that can't be used are kept out with all that blur mixes with them", () => {
  const sharp = texture(6);
  const soft = blurPupil(sharp, 240, 200, 4, 0);
  const use = all.slice();
  for (let y = 50; y < 60; y++)
    for (let x = 50; x < 70; x++) {
      soft[y * 240 + x] = 0;
      use[y * 240 + x] = 0;
    }
  expect(Math.abs(blurRadius(sharp, soft, use, shape, 8)!.radiusPx / 4 - 1)).toBeLessThan(0.05);
});
