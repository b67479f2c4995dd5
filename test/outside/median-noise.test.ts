import { expect, test } from "vitest";
import { medianNoise } from "../../agent/files/master-tiles.ts";
import { check } from "./check.ts";

test("the noise of a median against a mean's is within 1 % of the order-statistic integral", () => {
  const { inputs, expected } = check("combine.median-variance");
  for (const [index, n] of inputs.n.entries()) {
    expect(Math.abs(medianNoise(n) / Math.sqrt(expected.varMedianOverVarMean[index]) - 1)).toBeLessThan(
      0.0101,
    );
  }
  expect(medianNoise(1e9) ** 2).toBeCloseTo(expected.limit, 6);
});
