import { expect, test } from "vitest";
import { MasterBuilder } from "../../../../agent/imaging/combining/master-builder.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 192, heightPx: 160 };
const levelAdu = 12_000;
const noiseAdu = 70;

interface Series {
  readonly seed: number;
  readonly frames?: number;
  /** What a frame's pixel gets, a share of the level. */
  readonly light: (frame: number, x: number, y: number) => number;
}

function worstOf({ seed, frames = 20, light }: Series) {
  const random = new Random(seed);
  const builder = new MasterBuilder({ shape, frameCountExpected: frames, kind: "light" });
  for (let k = 0; k < frames; k++)
    builder.add(
      Uint16Array.from({ length: shape.widthPx * shape.heightPx }, (_, i) => {
        const [x, y] = [i % shape.widthPx, Math.floor(i / shape.widthPx)];
        return Math.min(65_535, Math.round(levelAdu * light(k, x, y) + noiseAdu * random.gauss()));
      }),
    );
  return builder.finish().halves!.worst!;
}

/** A ring of dust 40 px across. */
const ring = (x: number, y: number, depth: number) => {
  const away = Math.hypot(x, y);
  return 1 - depth * (away > 6 && away < 20 ? 1 : 0);
};

test("a speck that falls in the middle of a series, and one that slides by 5 px, are found where they are", () => {
  const fallen = worstOf({ seed: 1, light: (k, x, y) => (k < 10 ? 1 : ring(x - 100, y - 80, 0.01)) });
  expect(Math.hypot(fallen.xPx - 100, fallen.yPx - 80)).toBeLessThan(24);
  expect(fallen.change).toBeGreaterThan(0.006);
  expect(fallen.change).toBeLessThan(0.012);
  const slid = worstOf({ seed: 2, light: (k, x, y) => ring(x - (k < 10 ? 120 : 125), y - 90, 0.02) });
  expect(Math.hypot(slid.xPx - 122, slid.yPx - 90)).toBeLessThan(26);
  expect(slid.change).toBeGreaterThan(0.004);
});

test("nothing that moved, light that wanders, and a particle that hits one frame are no change", () => {
  const steady = (x: number, y: number) => ring(x - 120, y - 90, 0.05);
  for (let seed = 1; seed <= 3; seed++)
    expect(worstOf({ seed, light: (_, x, y) => steady(x, y) }).change, `seed ${seed}`).toBe(0);
  const wandering = worstOf({
    seed: 4,
    light: (k, x, y) => steady(x, y) * (1 + (0.01 * k * (x - 96)) / 20 / 96),
  });
  expect(wandering.change).toBeLessThan(0.002);
  const hit = worstOf({
    seed: 5,
    light: (k, x, y) => (k === 4 && y === 60 && x > 40 && x < 60 ? 5 : steady(x, y)),
  });
  expect(hit.change).toBe(0);
});
