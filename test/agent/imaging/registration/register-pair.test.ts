import { expect, test } from "vitest";
import { goldenSpiral } from "../../../../agent/imaging/displaced/pattern.ts";
import { loadFft } from "../../../../agent/imaging/numerics/fft.ts";
import { correlationAt, registerPair } from "../../../../agent/imaging/registration/register-pair.ts";
import { driftingFrames } from "../../../bench/displaced-frames.ts";

const fft = await loadFft();
const shape = { widthPx: 210, heightPx: 140 };

test("two pictures of one Sun: the shift to a few hundredths of a pixel, either way round", () => {
  const shifts = [
    { x: 0, y: 0 },
    { x: 12.3, y: -7.6 },
  ];
  const [a, b] = driftingFrames({ ...shape, shifts, seed: 9 }).frames.map((frame) =>
    Float32Array.from(frame),
  );
  const forth = registerPair(fft, a!, b!, shape);
  const back = registerPair(fft, b!, a!, shape);
  // A few dusty rings stay where they are and pull a little.
  expect(Math.hypot(forth.shift.x - 12.3, forth.shift.y + 7.6), JSON.stringify(forth)).toBeLessThan(0.15);
  expect(Math.hypot(forth.shift.x + back.shift.x, forth.shift.y + back.shift.y)).toBeLessThan(0.02);
  expect(forth.correlation).toBeGreaterThan(0.6);
  expect(Math.abs(forth.correlationAtZero)).toBeLessThan(0.4);
});

test("different Suns have nothing in common, and a masked corner does no harm", () => {
  const shifts = goldenSpiral(1, 3);
  const [a, b] = [1, 2].map((seed) =>
    Float32Array.from(driftingFrames({ ...shape, shifts, seed }).frames[0]!),
  );
  a!.fill(Number.NaN, 0, 2000);
  const found = registerPair(fft, a!, b!, shape);
  expect(found.correlation).toBeLessThan(0.3);
  expect(found.patternRms[0]).toBeGreaterThan(0.01);
});

test("correlation is 1 for a picture with itself and 0 without overlap", () => {
  const picture = Float32Array.from({ length: 210 * 140 }, (_, i) => Math.sin(i * i));
  expect(correlationAt(picture, picture, shape, { x: 0, y: 0 })).toBeCloseTo(1, 9);
  expect(correlationAt(picture, picture, shape, { x: 209, y: 139 })).toBe(0);
});
