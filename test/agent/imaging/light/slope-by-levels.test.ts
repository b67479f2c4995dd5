import { expect, test } from "vitest";
import { slopeByLevels } from "../../../../agent/imaging/light/slope-by-levels.ts";
import { lookPlaces } from "../../../../agent/procedures/flat/light/look-places.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 400, heightPx: 300 };
const shifts = lookPlaces.map(([x, y]) => ({ x: 75 * x, y: 75 * y }));

/** Levels of looks of a light with a slope, under a sky that sinks evenly and flickers. */
function levelsOf(across: number, flicker: number, seed: number): number[] {
  const random = new Random(seed);
  return shifts.map(({ x }, k) => (across * x) / shape.widthPx - 0.004 * k + flicker * random.gauss());
}

test("a slope of 2 % is in the levels of a steady sky that sinks, and none where there is none", () => {
  for (const seed of [1, 2, 3])
    for (const across of [0.02, 0]) {
      const bound = slopeByLevels(levelsOf(across, 2e-4, seed), shifts, shape)!;
      expect(Math.abs(bound.across - across), `seed ${seed}`).toBeLessThan(4 * bound.acrossSigma);
      expect(bound.acrossSigma).toBeLessThan(0.002);
    }
});

test("a sky that flickers widens the bound; few looks bound nothing", () => {
  expect(slopeByLevels(levelsOf(0, 0.005, 4), shifts, shape)!.acrossSigma).toBeGreaterThan(0.004);
  expect(slopeByLevels([0, 0, 0], shifts.slice(0, 3), shape)).toBeUndefined();
});
