import { expect, test } from "vitest";
import { loadFft } from "../../../../agent/imaging/numerics/fft-library.ts";
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
  expect(Math.hypot(forth.x - 12.3, forth.y + 7.6), JSON.stringify(forth)).toBeLessThan(0.15);
  expect(Math.hypot(forth.x + back.x, forth.y + back.y)).toBeLessThan(0.02);
  expect(correlationAt(a!, b!, shape, forth)).toBeGreaterThan(correlationAt(a!, b!, shape, { x: 0, y: 0 }));
});

test("a masked corner does no harm, and different Suns give a lower peak than one", () => {
  const shifts = [0, 4].map((x) => ({ x, y: 0 }));
  const frames = (seed: number) =>
    driftingFrames({ ...shape, shifts, seed }).frames.map((frame) => Float32Array.from(frame));
  const [first, moved] = frames(9);
  first!.fill(Number.NaN, 0, 2000);
  const same = registerPair(fft, first!, moved!, shape);
  expect(Math.hypot(same.x - 4, same.y), JSON.stringify(same)).toBeLessThan(0.3);
  expect(registerPair(fft, first!, frames(2)[1]!, shape).peakSigma).toBeLessThan(0.8 * same.peakSigma);
});

test("correlation is 1 for a picture with itself and 0 without overlap", () => {
  const picture = Float32Array.from({ length: 210 * 140 }, (_, i) => Math.sin(i * i));
  expect(correlationAt(picture, picture, shape, { x: 0, y: 0 })).toBeCloseTo(1, 9);
  expect(correlationAt(picture, picture, shape, { x: 209, y: 139 })).toBe(0);
});
