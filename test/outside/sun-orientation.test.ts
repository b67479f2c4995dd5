import { AstroTime } from "astronomy-engine";
import { test } from "vitest";
import { type SunOrientation, sunOrientationAt } from "../../agent/sky/sun-orientation.ts";
import { type Check, check, checksOf } from "./check.ts";

/** P and L0: Astronomical Almanac 2013; B0: JPL Horizons; Meeus, Astronomical Algorithms, example 29.a. */
test.each(checksOf("sun.orientation."))("$id: P, B0 and L0", (one) => {
  const days = Date.parse(`${one.inputs.tt}Z`) / 86_400_000 + 2440587.5 - 2451545;
  agrees(one, sunOrientationAt(AstroTime.FromTerrestrialTime(days)));
});

test("Meeus 29.a, whose instant is UT", () => {
  const one = check("sun.meeus.29a");
  const { jd, deltaTSeconds } = one.inputs;
  agrees(one, sunOrientationAt(AstroTime.FromTerrestrialTime(jd - 2451545 + deltaTSeconds / 86_400)));
});

function agrees(one: Check, turned: SunOrientation): void {
  one.agrees("PDeg", turned.poleAngleDegrees);
  one.agrees("B0Deg", turned.centreLatitudeDegrees);
  one.agrees("L0Deg", turned.centreLongitudeDegrees);
}
