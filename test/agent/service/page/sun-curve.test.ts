import { expect, test } from "vitest";
import { drawSunCurve } from "../../../../agent/service/page/sun-curve.ts";

const zurich = { latitudeDegrees: 47, longitudeDegrees: 8, elevationMetres: 500, timeZone: "Europe/Zurich" };
/** 90 less the latitude and plus the Sun's declination, 23.44 degrees at the solstice; noon 12 h less the longitude's 32 min, in summer time. */
const noonDegrees = 66;

test("the curve's words and marks at a solstice", () => {
  const from = Date.UTC(2026, 5, 21, 4);
  const drawn = drawSunCurve(zurich, from, [
    { utcMs: Date.UTC(2026, 5, 21, 11, 30), entry: "<noon>" },
    { utcMs: from - 1, entry: "past" },
  ]);
  const [, clock, degrees] = /highest near (\d\d:\d\d), at (\d+)°/.exec(drawn)!;
  expect(clock).toMatch(/^13:[23]0$/);
  expect(Number(degrees)).toBe(noonDegrees);
  expect(drawn).toMatch(/sets near 21:[23]\d/);
  expect(drawn).toContain("&lt;noon&gt;, 13:30");
  expect(drawn.match(/<circle/g)).toHaveLength(1);
  expect(drawn).not.toMatch(/ style=|NaN/);
});

test("a day without a rising or without a setting", () => {
  const north = { ...zurich, latitudeDegrees: 78, timeZone: "Arctic/Longyearbyen" };
  expect(drawSunCurve(north, Date.UTC(2026, 5, 21), [])).toContain("It does not set.");
  expect(drawSunCurve(north, Date.UTC(2026, 11, 21), [])).toContain("stays below the horizon");
});
