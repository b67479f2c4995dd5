import { expect, test } from "vitest";
import { isSlopeFound, slopeByLevels } from "../../../../agent/imaging/light/slope-by-levels.ts";
import { lookPlaces } from "../../../../agent/procedures/flat/light/look-places.ts";
import { Random } from "../../../../drivers/kit/random.ts";

const shape = { widthPx: 400, heightPx: 300 };
const shifts = lookPlaces.map(([x, y]) => ({ x: 75 * x, y: 75 * y }));

/** Levels of looks of a light with a slope, under a sky that sinks evenly and flickers. */
function levelsOf(across: number, flicker: number, seed: number): number[] {
  const random = new Random(seed);
  return shifts.map(({ x }, k) => (across * x) / shape.widthPx - 0.004 * k + flicker * random.gauss());
}

test("a slope of 2 % is told from levels of a steady sky that sinks, and none where there is none", () => {
  for (const seed of [1, 2, 3]) {
    const tilted = slopeByLevels(levelsOf(0.02, 2e-4, seed), shifts, shape, 0.001)!;
    expect(isSlopeFound(tilted), `seed ${seed}`).toBe(true);
    expect(Math.abs(tilted.across - 0.02)).toBeLessThan(3 * tilted.acrossSigma);
    expect(isSlopeFound(slopeByLevels(levelsOf(0, 2e-4, seed), shifts, shape, 0.001)!)).toBe(false);
  }
});

test("under flicker or haze as uneven as the slope it is no more than bounded", () => {
  expect(isSlopeFound(slopeByLevels(levelsOf(0.01, 0.005, 4), shifts, shape, 0.001)!)).toBe(false);
  const hazy = slopeByLevels(levelsOf(0.01, 1e-4, 5), shifts, shape, 0.004)!;
  expect(isSlopeFound(hazy)).toBe(false);
  expect(hazy.acrossSigma).toBeGreaterThan(0.004);
  expect(slopeByLevels([0, 0, 0], shifts.slice(0, 3), shape, 0.001)).toBeUndefined();
});
