import { expect, test } from "vitest";
import { driftRadiusPx, leastDiscRadiusPx } from "../../../../../agent/imaging/displaced/drift/drift-room.ts";

const shape = { widthPx: 400, heightPx: 300 }; // half a diagonal: 250 px

test("a large disc: as far as asked for", () => {
  expect(driftRadiusPx(shape, 2000, 0.25)).toBe(75);
});

test("a smaller one: corner and wandering stay within 0.45 of its radius", () => {
  expect(driftRadiusPx(shape, 700, 0.25)).toBeCloseTo(0.45 * 700 - 250, 9);
});

test("too small: none; the least that will do is the limit", () => {
  const least = leastDiscRadiusPx(shape);
  expect(driftRadiusPx(shape, least * 0.999, 0.25)).toBeUndefined();
  expect(driftRadiusPx(shape, least * 1.001, 0.25)).toBeGreaterThan(29.9);
});
