import { expect, test } from "vitest";
import { medianDeviation } from "../../../../agent/imaging/noise/median-deviation.ts";
import { medianNoise } from "../../../../agent/imaging/noise/median-noise.ts";
import { centralShare, clippedNormal, upperTail } from "../../../../agent/imaging/numerics/normal.ts";
import { median } from "../../../../agent/imaging/numerics/order-statistics.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const seed = 61;

function spread(values: readonly number[]): number {
  const mean = values.reduce((a, b) => a + b, 0) / values.length;
  return Math.sqrt(values.reduce((sum, value) => sum + (value - mean) ** 2, 0) / values.length);
}

test.each([4, 7, 12])(
  "of %i random numbers the median's noise and the deviation's median are as stated",
  (n) => {
    const random = new Random(seed);
    const sets = Array.from({ length: 20_000 }, () => Array.from({ length: n }, () => random.gauss()));
    const noise = spread(sets.map((set) => median(set)!)) * Math.sqrt(n);
    expect(Math.abs(noise / medianNoise(n) - 1), `seed ${seed}`).toBeLessThan(0.02);
    expect(Math.abs(median(sets.map(spread))! / medianDeviation(n) - 1), `seed ${seed}`).toBeLessThan(0.015);
  },
);

test("an even number's median is less noisy than its neighbours'; few values are their own mean", () => {
  expect([1, 2].map(medianNoise)).toEqual([1, 1]);
  expect(medianNoise(4)).toBeLessThan(medianNoise(3));
  expect(medianNoise(50)).toBeLessThan(medianNoise(49));
  expect(Math.abs(medianNoise(65_534) / medianNoise(65_535) - 1)).toBeLessThan(1e-4);
});

test("tails of the normal distribution, near, far, and where the ways of computing them meet", () => {
  // Source: Abramowitz & Stegun, table 26.1 and 26.2.
  expect(upperTail(1)).toBeCloseTo(0.158655253931457, 14);
  expect(upperTail(6) / 9.865876450377e-10).toBeCloseTo(1, 10);
  expect(upperTail(3 - 1e-12) / upperTail(3)).toBeCloseTo(1, 10);
  expect(upperTail(-1) + upperTail(1)).toBeCloseTo(1, 14);
  expect(centralShare(1e-9) / (2e-9 / Math.sqrt(2 * Math.PI))).toBeCloseTo(1, 12);
  expect(clippedNormal(9)).toEqual({ rejected: expect.closeTo(0, 15), sigmaAfter: expect.closeTo(1, 12) });
});
