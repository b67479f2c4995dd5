import { expect, test } from "vitest";
import { airMass, extinctionRatio } from "../../agent/sky/air-mass.ts";
import {
  refractionDegrees,
  refractionFlattening,
  refractionFromApparentDegrees,
} from "../../agent/sky/refraction.ts";
import { check } from "./check.ts";

test("refraction from the apparent altitude: Bennett 1982, Meeus example 16.a", () => {
  const { inputs, expected, tolerance } = check("refraction.meeus");
  const arcmin = refractionFromApparentDegrees(inputs.apparentAltitudeDeg) * 60;
  expect(Math.abs(arcmin - expected.refractionArcmin)).toBeLessThan(tolerance.abs);
});

test("refraction from the true altitude: Saemundsson 1986", () => {
  const { inputs, expected, tolerance } = check("refraction.saemundsson");
  inputs.trueAltitudeDeg.forEach((altitude: number, i: number) => {
    expect(Math.abs(refractionDegrees(altitude) * 60 - expected.refractionArcmin[i])).toBeLessThan(
      tolerance.abs,
    );
  });
});

test("flattening of the disc by refraction", () => {
  const { inputs, expected, tolerance } = check("flattening.refraction");
  inputs.trueAltitudeDeg.forEach((altitude: number, i: number) => {
    const ratio = refractionFlattening(altitude, inputs.semidiameterDeg) / expected.flattening[i];
    expect(Math.abs(ratio - 1)).toBeLessThan(tolerance.rel);
  });
});

test("air mass: Kasten & Young 1989", () => {
  const { inputs, expected, tolerance } = check("airmass.kasten-young");
  inputs.altitudeDeg.forEach((altitude: number, i: number) => {
    expect(Math.abs(airMass(altitude) - expected.airmass[i])).toBeLessThan(tolerance.abs);
  });
});

test("exposure ratio between two altitudes", () => {
  const { inputs, expected, tolerance } = check("exposure.airmass");
  inputs.altitudePairsDeg.forEach(([from, to]: [number, number], i: number) => {
    const ratio = extinctionRatio(from, to, inputs.k);
    expect(Math.abs(ratio - expected.exposureRatio[i])).toBeLessThan(tolerance.abs);
  });
});
