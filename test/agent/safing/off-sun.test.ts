import { expect, test } from "vitest";
import { isPathOffSun, isSunUp, retreatPointing } from "../../../agent/safing/off-sun.ts";
import { separationDegrees } from "../../../agent/sky/separation.ts";
import { sunFromSite } from "../../../agent/sky/sun-from-site.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { forenoonUtcMs } from "../run/fake-run.ts";

const hourMs = 3_600_000;
const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };

test("the retreat is 30 degrees from the Sun, never lower than it, and the Sun does not come by all day", () => {
  const random = new Random(20260620);
  for (let i = 0; i < 300; i++) {
    const place = {
      latitudeDegrees: random.between(-65, 65),
      longitudeDegrees: random.between(-180, 180),
      elevationMetres: 0,
    };
    const utcMs = forenoonUtcMs + random.between(0, 365 * 24) * hourMs;
    const sun = sunFromSite(utcMs, place);
    if (sun.altitudeDegrees < 5) continue;
    const to = retreatPointing(place, utcMs);
    expect(separationDegrees(to, sun)).toBeCloseTo(30, 6);
    // A mount that stands still keeps its hour angle while the Sun goes round.
    for (let hour = 0; hour <= 24; hour++) {
      const later = sunFromSite(utcMs + hour * hourMs, place);
      const then = {
        raHours: to.raHours + later.siderealHours - sun.siderealHours,
        decDegrees: to.decDegrees,
      };
      expect(separationDegrees(then, later)).toBeGreaterThan(29.5);
    }
  }
});

test("a way between two places far off the Sun that crosses it, by either axis first, is not off the Sun", () => {
  const sun = sunFromSite(forenoonUtcMs, site);
  const place = (byHours: number, byDegrees: number) => ({
    raHours: (sun.raHours + byHours + 24) % 24,
    decDegrees: sun.decDegrees + byDegrees,
  });
  const isOff = (from: readonly [number, number], to: readonly [number, number]) =>
    isPathOffSun(place(...from), place(...to), site, forenoonUtcMs);
  expect(isOff([-3, 0], [3, 0])).toBe(false);
  expect(isOff([-3, -40], [0, 40])).toBe(false); // right ascension first, then straight over it
  expect(isOff([-3, 30], [3, 40])).toBe(true);
  expect(isOff([2, -30], [5, 30])).toBe(true);
  expect(isOff([0, 10], [0, 40])).toBe(false); // begins near
});

test("the Sun counts as up until it has set altogether", () => {
  const noonMs = Date.UTC(2026, 5, 20, 12);
  expect(isSunUp(site, noonMs)).toBe(true);
  expect(isSunUp(site, noonMs + 12 * hourMs)).toBe(false);
});
