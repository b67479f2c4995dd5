import { AstroTime } from "astronomy-engine";
import { expect, test } from "vitest";
import { sunOrientationAt } from "../../agent/sky/sun-orientation.ts";
import { check, checksOf } from "./check.ts";

/** P and L0: Astronomical Almanac 2013; B0: JPL Horizons; Meeus, Astronomical Algorithms, example 29.a. */
test.each(checksOf("sun.orientation."))("$id: P, B0 and L0", ({ inputs, expected, tolerance }) => {
  const days = Date.parse(`${inputs.tt}Z`) / 86_400_000 + 2440587.5 - 2451545;
  const turned = sunOrientationAt(AstroTime.FromTerrestrialTime(days));
  expect(Math.abs(turned.poleAngleDegrees - expected.PDeg)).toBeLessThan(tolerance.PDeg);
  expect(Math.abs(turned.centreLatitudeDegrees - expected.B0Deg)).toBeLessThan(tolerance.B0Deg);
  expect(Math.abs(turned.centreLongitudeDegrees - expected.L0Deg)).toBeLessThan(tolerance.L0Deg);
});

test("Meeus 29.a", () => {
  const { inputs, expected, tolerance } = check("sun.meeus.29a");
  const asDynamical = sunOrientationAt(AstroTime.FromTerrestrialTime(inputs.jd - 2451545));
  expect(Math.abs(asDynamical.poleAngleDegrees - expected.PDeg)).toBeLessThan(tolerance.abs);
  expect(Math.abs(asDynamical.centreLatitudeDegrees - expected.B0Deg)).toBeLessThan(tolerance.abs);
  expect(Math.abs(asDynamical.centreLongitudeDegrees - expected.L0Deg)).toBeLessThan(tolerance.abs);
  // The book's instant is UT: its classical series and modern rotation elements then differ by 0.011 degrees.
  const asUt = sunOrientationAt(
    AstroTime.FromTerrestrialTime(inputs.jd - 2451545 + inputs.deltaTSeconds / 86_400),
  );
  expect(Math.abs(asUt.centreLongitudeDegrees - expected.L0Deg)).toBeLessThan(0.012);
});
