import { expect, test } from "vitest";
import { quietSunSlope } from "../../../../agent/imaging/displaced/quiet-sun-slope.ts";
import { gaussianBlur } from "../../../../agent/imaging/numerics/gaussian-blur.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const sidePx = 320;
const grid = { widthPx: sidePx, heightPx: sidePx, originX: 16, originY: 16 };
const count = new Float32Array(sidePx ** 2).fill(50);
const seeds = [1, 2, 3, 4, 5];
const tilt = { x: 0.02 / sidePx, y: -0.01 / sidePx };
const plages = [
  { x: 250, y: 70 },
  { x: 260, y: 190 },
  { x: 270, y: 250 },
];

/** Logarithm of a tilted Sun with texture of 5 % on 3 to 20 px, and plages of 30 % with soft edges on its right. */
function tiltedSun(seed: number, places: typeof plages): Float32Array {
  const random = new Random(seed);
  const noise = Float32Array.from({ length: sidePx ** 2 }, () => random.gauss());
  const wide = gaussianBlur(noise, grid, 20);
  const fine = gaussianBlur(noise, grid, 3).map((value, i) => value - wide[i]!);
  const rms = Math.hypot(...fine) / sidePx;
  return fine.map((value, i) => {
    const [x, y] = [i % sidePx, Math.floor(i / sidePx)];
    const bright = (at: { x: number; y: number }) =>
      0.3 / (1 + Math.exp((Math.hypot(x - at.x, y - at.y) - 25) / 6));
    return (0.05 * value) / rms + tilt.x * x + tilt.y * y + places.reduce((sum, at) => sum + bright(at), 0);
  });
}

function finished<T>(work: Generator<void, T>): T {
  for (;;) {
    const step = work.next();
    if (step.done) return step.value;
  }
}

/** Errors across the picture, rms over seeds, and what is told of them. */
function slopeErrors(places: typeof plages) {
  const slopes = seeds.map((seed) => finished(quietSunSlope(tiltedSun(seed, places), count, grid))!);
  const rms = (values: readonly number[]) => Math.hypot(...values) / Math.sqrt(values.length);
  return {
    x: rms(slopes.map(({ x }) => sidePx * (x - tilt.x))),
    y: rms(slopes.map(({ y }) => sidePx * (y - tilt.y))),
    told: rms(slopes.map(({ xSigma }) => sidePx * xSigma)),
  };
}

test("the tilt of a quiet Sun is found", () => {
  const { x, y, told } = slopeErrors([]);
  expect(x, `seeds ${seeds}`).toBeLessThan(0.003);
  expect(y, `seeds ${seeds}`).toBeLessThan(0.003);
  expect(told, `seeds ${seeds}`).toBeGreaterThan(0.001);
});

test("plages on one side are left out with their soft edges, which would tilt the plane by 1.9 %", () => {
  const { x, y } = slopeErrors(plages);
  expect(x, `seeds ${seeds}`).toBeLessThan(0.012);
  expect(y, `seeds ${seeds}`).toBeLessThan(0.004);
});
