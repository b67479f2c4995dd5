import { expect, test } from "vitest";
import { airMass, extinctionRatio } from "../../agent/sky/air-mass.ts";
import { refractionDegrees, refractionFlattening } from "../../agent/sky/refraction.ts";
import { check } from "./check.ts";

/** The product is told where the Sun is without air: the altitude whose lifted place is the one asked for. */
function airlessAltitude(apparentDegrees: number): number {
  let airless = apparentDegrees;
  for (let round = 0; round < 60; round++) airless = apparentDegrees - refractionDegrees(airless);
  return airless;
}

test("refraction at an apparent altitude, against Bennett 1982, Meeus example 16.a", () => {
  const one = check("refraction.meeus");
  const { apparentAltitudeDeg } = one.inputs;
  const airless = airlessAltitude(apparentAltitudeDeg);
  expect(airless + refractionDegrees(airless)).toBeCloseTo(apparentAltitudeDeg, 9);
  one.agrees("refractionArcmin", 60 * refractionDegrees(airless));
});

test("refraction from the true altitude: Saemundsson 1986", () => {
  const one = check("refraction.saemundsson");
  one.agrees(
    "refractionArcmin",
    one.inputs.trueAltitudeDeg.map((altitude: number) => 60 * refractionDegrees(altitude)),
  );
});

test("flattening of the disc by refraction", () => {
  const one = check("flattening.refraction");
  const { trueAltitudeDeg, semidiameterDeg } = one.inputs;
  one.agrees(
    "flattening",
    trueAltitudeDeg.map((altitude: number) => refractionFlattening(altitude, semidiameterDeg)),
  );
});

test("air mass: Kasten & Young 1989", () => {
  const one = check("airmass.kasten-young");
  one.agrees("airmass", one.inputs.altitudeDeg.map(airMass));
});

test("exposure ratio between two altitudes", () => {
  const one = check("exposure.airmass");
  const { altitudePairsDeg, k } = one.inputs;
  one.agrees(
    "exposureRatio",
    altitudePairsDeg.map(([from, to]: [number, number]) => extinctionRatio(from, to, k)),
  );
});
