import { expect, test } from "vitest";
import {
  computeNoiseBudget,
  framesEnough,
  isNoiseReached,
} from "../../../../agent/imaging/noise/frames-enough.ts";

const asked = { imagesToStack: 40, addedNoiseFraction: 0.1, imageOverFlatLevel: 0.8 };
const single = 0.006;

const growth = (frames: number, excess = 1) => [
  { frames, measured: (excess * single) / Math.sqrt(frames), expected: single / Math.sqrt(frames) },
];

test("so many frames as are asked for add just the noise that was allowed, one fewer adds more", () => {
  const frames = framesEnough(asked);
  expect(computeNoiseBudget(frames, single, asked).addedNoiseFraction).toBeLessThanOrEqual(0.1);
  expect(computeNoiseBudget(frames - 1, single, asked).addedNoiseFraction).toBeGreaterThan(0.1);
  // As many flats as images of the same light: the noise grows by the root of two.
  const same = { imagesToStack: 40, addedNoiseFraction: Math.SQRT2 - 1, imageOverFlatLevel: 1 };
  expect(framesEnough(same)).toBe(40);
  expect(computeNoiseBudget(40, single, same).stackNoise).toBeCloseTo(
    (Math.SQRT2 * single) / Math.sqrt(40),
    12,
  );
});

test("a series ends when the measured noise says so, and goes on when it falls too slowly", () => {
  const frames = framesEnough(asked);
  expect(isNoiseReached(growth(frames), asked)).toBe(true);
  expect(isNoiseReached(growth(frames - 1), asked)).toBe(false);
  expect(isNoiseReached(growth(frames, 1.3), asked)).toBe(false);
  expect(isNoiseReached(growth(Math.ceil(frames * 1.7), 1.3), asked)).toBe(true);
  expect(isNoiseReached([], asked)).toBe(false);
  expect(isNoiseReached(growth(8), { ...asked, imagesToStack: 1 })).toBe(false); // too few to know their own noise
});
