import { expect, test } from "vitest";
import { StepError } from "../../../agent/procedures/step-error.ts";
import { positionOffSun } from "../../../agent/procedures/sun-pointing.ts";

const site = { latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1800 };

test("at noon there is a place off the Sun; at night there is none, which is no fault of ours", () => {
  expect(positionOffSun(Date.parse("2026-06-21T11:00:00Z"), site).awayDegrees).toBeGreaterThanOrEqual(30);
  expect(() => positionOffSun(Date.parse("2026-06-21T02:00:00Z"), site)).toThrow(StepError);
});
