import { expect, test } from "vitest";
import { turnDegrees, wrapDegrees } from "../../../drivers/kit/angles.ts";
import { greenwichSiderealHours, hoursBetween } from "../../../drivers/kit/sidereal.ts";
import { distanceDegrees, offsetBy, skyOffset } from "../../../drivers/roles/mount-sky.ts";

test("sidereal time of 1987 April 10, 19:21 UT is 8 h 34 min 57.1 s (worked example of Meeus, ch. 12)", () => {
  const hours = greenwichSiderealHours(Date.UTC(1987, 3, 10, 19, 21, 0));
  expect(Math.abs(hours - (8 + 34 / 60 + 57.0896 / 3600)) * 3600).toBeLessThan(0.05);
});

test("an offset there and its measurement agree, also across 0 h and near the pole", () => {
  for (const from of [
    { raHours: 23.9999, decDegrees: 20 },
    { raHours: 5, decDegrees: 80 },
    { raHours: 0.0001, decDegrees: -35 },
  ]) {
    const by = { eastArcsec: -300, northArcsec: 200 };
    const found = skyOffset(from, offsetBy(from, by));
    expect(found.eastArcsec).toBeCloseTo(by.eastArcsec, 6);
    expect(found.northArcsec).toBeCloseTo(by.northArcsec, 6);
    expect(Math.abs(distanceDegrees(from, offsetBy(from, by)) * 3600 - Math.hypot(300, 200))).toBeLessThan(1);
  }
});

test("angles and hours take the short way round", () => {
  expect(wrapDegrees(-30)).toBe(330);
  expect(turnDegrees(350, 10)).toBe(20);
  expect(turnDegrees(10, 350)).toBe(-20);
  expect(hoursBetween(23.5, 0.5)).toBeCloseTo(1, 12);
});
