import { expect, test } from "vitest";
import { driftPath } from "../../../../../agent/procedures/flat/by-drift/drift-path.ts";
import { isProofFrame } from "../../../../../agent/procedures/flat/by-drift/drift-work.ts";

test("the path stays within its radius, fills both directions alike and has no preferred diagonal", () => {
  for (const count of [32, 44, 48, 108]) {
    const places = driftPath(count, 100);
    expect(places).toHaveLength(count);
    const mean = (of: (place: (typeof places)[number]) => number) =>
      places.reduce((sum, place) => sum + of(place), 0) / count;
    for (const { eastArcsec, northArcsec } of places)
      expect(Math.hypot(eastArcsec, northArcsec)).toBeLessThanOrEqual(100);
    expect(Math.abs(mean(({ eastArcsec }) => eastArcsec))).toBeLessThan(1);
    expect(Math.abs(mean(({ northArcsec }) => northArcsec))).toBeLessThan(1);
    expect(Math.sqrt(mean(({ eastArcsec }) => eastArcsec ** 2))).toBeCloseTo(50, 1);
    expect(Math.sqrt(mean(({ northArcsec }) => northArcsec ** 2))).toBeCloseTo(50, 1);
    expect(Math.abs(mean(({ eastArcsec, northArcsec }) => eastArcsec * northArcsec))).toBeLessThan(50);
  }
});

test.each([
  [44, 8],
  [48, 8],
  [32, 8],
  [30, 6],
])("of %i frames exactly %i prove the flat, spread over the series", (of, wanted) => {
  const proof = Array.from({ length: of }, (_, index) => index).filter((index) =>
    isProofFrame(index, wanted, of),
  );
  expect(proof).toHaveLength(wanted);
  const gaps = proof.slice(1).map((index, k) => index - proof[k]!);
  expect(Math.max(...gaps) - Math.min(...gaps)).toBeLessThanOrEqual(1);
});
