import { expect, test } from "vitest";
import { sunTheoriesApartDegrees, theoriesApartMostDegrees } from "../../../agent/sky/sun-second-theory.ts";

test("both theories agree all through the centuries that the library is good for, the day's turn included", () => {
  let worst = 0;
  const stepMs = 3.3 * 86_400_000;
  for (let utcMs = Date.UTC(1900, 0, 1); utcMs < Date.UTC(2100, 0, 1); utcMs += stepMs)
    worst = Math.max(worst, sunTheoriesApartDegrees(utcMs));
  expect(worst).toBeGreaterThan(0.005); // they are two
  expect(worst).toBeLessThan(0.6 * theoriesApartMostDegrees);
});
