import { expect, test } from "vitest";
import { checkSunKnown } from "../../../agent/procedures/sun-known.ts";

const noonMs = Date.UTC(2026, 6, 14, 12);

test("both theories have the Sun at one place: the mount may go there", () => {
  expect(() => checkSunKnown(noonMs)).not.toThrow();
});

test("theories that differ, or one that gives no number, keep the mount from moving", () => {
  expect(() => checkSunKnown(noonMs, () => 0.5)).toThrow(/0\.500 degrees apart/);
  expect(() => checkSunKnown(noonMs, () => Number.NaN)).toThrow(
    expect.objectContaining({ code: "SUN_PLACE_UNSURE" }),
  );
});
