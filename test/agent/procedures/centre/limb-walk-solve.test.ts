import { expect, test } from "vitest";
import { solveLimbViews } from "../../../../agent/procedures/centre/limb-walk-solve.ts";

const directions = [
  [1, 0],
  [-1, 0],
  [0, 1],
  [0, -1],
  [1, 0],
] as const;

/** Views of a limb through a camera matrix that is wrong by `error` (row by row), scattered by `noise`. */
function views(error: readonly number[], noise: readonly number[] = []) {
  return directions.map(([e, n], i) => ({
    towards: { eastArcsec: e, northArcsec: n },
    centre: {
      eastArcsec: 120 + error[0]! * e + error[1]! * n + (noise[i] ?? 0),
      northArcsec: -45 + error[2]! * e + error[3]! * n,
    },
  }));
}

test("a wrong radius, angle, scale or skew of the camera cancels between opposite limbs", () => {
  const solution = solveLimbViews(views([40, 25, -30, 60]))!;
  expect(solution.centre.eastArcsec).toBeCloseTo(120, 9);
  expect(solution.centre.northArcsec).toBeCloseTo(-45, 9);
  expect(solution.sdArcsec).toBeLessThan(1e-9);
});

test("a mount that does not repeat shows in the uncertainty", () => {
  const solution = solveLimbViews(views([0, 0, 0, 0], [0, 0, 0, 0, 8]))!;
  expect(solution.sdArcsec).toBeGreaterThan(1);
  expect(Math.abs(solution.centre.eastArcsec - 120)).toBeLessThan(3);
});

test("views of one side only do not define a centre", () => {
  expect(solveLimbViews(views([0, 0, 0, 0]).slice(0, 1))).toBeUndefined();
});
