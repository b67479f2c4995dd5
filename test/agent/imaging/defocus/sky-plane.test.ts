import { expect, test } from "vitest";
import { skyPlane } from "../../../../agent/imaging/defocus/sky-plane.ts";

const shape = { widthPx: 640, heightPx: 480 };
const order = [
  [0, 0],
  [120, 0],
  [-90, 0],
  [-90, 0],
  [120, 0],
  [0, 108],
  [0, -78],
  [0, -78],
  [0, 108],
] as const;
const reversed = [
  [0, 0],
  [-90, 0],
  [120, 0],
  [120, 0],
  [-90, 0],
  [0, -78],
  [0, 108],
  [0, 108],
  [0, -78],
] as const;
/** 0.6 % across the width, -0.3 % across the height. */
const truth = { x: 0.006 / 640, y: -0.003 / 480 };

/** Looks every 12 s while the sky's transparency changes as told. */
function rounds(sky: (seconds: number) => number) {
  let seconds = 0;
  return [order, reversed, order, reversed].map((places) =>
    places.map(([x, y]) => {
      seconds += 12;
      return {
        shift: { x, y },
        utcMs: seconds * 1000,
        level: sky(seconds) - truth.x * x - truth.y * y,
      };
    }),
  );
}

test("under a steady sky the gradient is exact", () => {
  const plane = skyPlane(
    rounds(() => 0.1),
    shape,
  )!;
  expect(plane.x).toBeCloseTo(truth.x, 9);
  expect(plane.y).toBeCloseTo(truth.y, 9);
  expect(plane.acrossSigma).toBeLessThan(1e-9);
});

test("a sky that dims steadily does not tilt it", () => {
  const plane = skyPlane(
    rounds((seconds) => -2e-4 * seconds),
    shape,
  )!;
  expect(plane.x).toBeCloseTo(truth.x, 9);
  expect(plane.y).toBeCloseTo(truth.y, 9);
});

const across = (plane: { x: number; y: number }) =>
  Math.hypot((plane.x - truth.x) * 640, (plane.y - truth.y) * 480);

test("haze that comes and goes by 1 % within four minutes does not tilt it", () => {
  for (const phase of [0, 1, 2, 3]) {
    const plane = skyPlane(
      rounds((seconds) => 0.01 * Math.sin(seconds / 40 + phase)),
      shape,
    )!;
    expect(across(plane)).toBeLessThan(5e-4);
  }
});

test("flicker that is faster than the looks makes it unsure, and it says so", () => {
  const phases = Array.from({ length: 12 }, (_, k) => k / 2);
  const beyond = phases.filter((phase) => {
    const plane = skyPlane(
      rounds((seconds) => 0.01 * Math.sin(seconds / 9 + phase)),
      shape,
    )!;
    expect(plane.acrossSigma).toBeGreaterThan(5e-4);
    return across(plane) > 2 * plane.acrossSigma;
  });
  expect(beyond.length).toBeLessThan(3);
});

test("one round, or looks along one axis only, tell no gradient", () => {
  expect(skyPlane(rounds(() => 0).slice(0, 1), shape)).toBeUndefined();
  const along = rounds(() => 0).map((round) => round.filter(({ shift }) => shift.y === 0));
  expect(skyPlane(along, shape)).toBeUndefined();
});
