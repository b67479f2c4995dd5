import { expect, test } from "vitest";
import { type BoxBlurs, boxBlurs } from "../../../../agent/imaging/numerics/box-blur.ts";
import { gaussianBlur } from "../../../../agent/imaging/numerics/gaussian-blur.ts";
import type { Shape } from "../../../../agent/imaging/numerics/shape.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { plainBoxBlurs } from "../../../reference/box-blurs.ts";

test("compiled boxes are the plain ones, in frames of any size and with boxes larger than the frame", () => {
  const random = new Random(20260728);
  for (const shape of [
    { widthPx: 37, heightPx: 29 },
    { widthPx: 1, heightPx: 1 },
    { widthPx: 3, heightPx: 50 },
    { widthPx: 64, heightPx: 5 },
    { widthPx: 200, heightPx: 133 },
    { widthPx: 12, heightPx: 16 },
  ])
    for (const radii of [
      [1, 1, 2],
      [0, 0, 1],
      [4, 5, 5],
      [12, 12, 12],
      [60, 61, 61],
    ]) {
      const picture = Float32Array.from({ length: shape.widthPx * shape.heightPx }, () => random.gauss());
      const [a, b] = [
        blurred(boxBlurs, picture, shape, radii),
        blurred(plainBoxBlurs, picture, shape, radii),
      ];
      const most = Math.max(...a.map((value, i) => Math.abs(value - b[i]!)));
      expect(most, `${JSON.stringify(shape)} ${radii}`).toBeLessThan(2e-6);
    }
});

test("pixels that do not count weigh nothing: an even picture with holes stays even, and nothing is 0", () => {
  const shape = { widthPx: 60, heightPx: 40 };
  const random = new Random(3);
  const use = Uint8Array.from({ length: 2400 }, (_, i) => (i % 60 < 30 && random.uniform() < 0.7 ? 1 : 0));
  const picture = Float32Array.from(use, (one) => (one === 1 ? 5 : Number.NaN));
  const blur = gaussianBlur(picture, shape, 3, use);
  for (let i = 0; i < blur.length; i++) {
    const x = i % 60;
    if (x < 30) expect(blur[i]).toBeCloseTo(5, 5);
    if (x >= 45) expect(blur[i]).toBe(0);
  }
});

function blurred(boxes: BoxBlurs, picture: Float32Array, shape: Shape, radii: readonly number[]) {
  const copy = picture.slice();
  boxes(copy, shape, radii);
  return copy;
}
