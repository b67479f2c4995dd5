import { describe, expect, test } from "vitest";
import { sunAbove, sunDay } from "../../../agent/sky/sun-day.ts";
import { sunFromSite } from "../../../agent/sky/sun-from-site.ts";

const north = { latitudeDegrees: 69.6, longitudeDegrees: 18.9, elevationMetres: 50 };
const middle = { latitudeDegrees: 45, longitudeDegrees: -120, elevationMetres: 500 };

describe("the day at a site", () => {
  test("the Sun is on the meridian at transit and highest there", () => {
    const day = sunDay(Date.UTC(2026, 3, 10, 3), middle);
    expect(Math.abs(sunFromSite(day.transitUtcMs, middle).hourAngleHours)).toBeLessThan(1e-5);
    for (const minutes of [-90, -30, 30, 90]) {
      const altitude = sunFromSite(day.transitUtcMs + minutes * 60_000, middle).altitudeDegrees;
      expect(altitude).toBeLessThan(day.transitAltitudeDegrees);
    }
  });

  test("rise and set bracket the transit, and the altitude is the same at both", () => {
    const day = sunDay(Date.UTC(2026, 9, 1, 20), middle);
    for (const utcMs of [day.riseUtcMs!, day.setUtcMs!]) {
      expect(sunFromSite(utcMs, middle).trueAltitudeDegrees).toBeCloseTo(-0.8333, 3);
    }
    expect(day.setUtcMs! - day.riseUtcMs!).toBeGreaterThan(11 * 3_600_000);
  });

  test("midnight Sun: no rise, no set, up all day; polar night: never above 10 degrees", () => {
    const summer = sunDay(Date.UTC(2026, 5, 21, 12), north);
    expect(summer.riseUtcMs).toBeUndefined();
    expect(summer.setUtcMs).toBeUndefined();
    const allDay = sunAbove(Date.UTC(2026, 5, 21, 12), north, 0)!;
    expect(allDay.toUtcMs - allDay.fromUtcMs).toBeCloseTo(86_400_000, -1);
    const winter = sunDay(Date.UTC(2026, 11, 21, 12), north);
    expect(winter.riseUtcMs).toBeUndefined();
    expect(sunAbove(Date.UTC(2026, 11, 21, 12), north, 10)).toBeUndefined();
  });

  test("the usable window begins and ends at the asked altitude", () => {
    const window = sunAbove(Date.UTC(2026, 6, 14, 20), middle, 20)!;
    expect(sunFromSite(window.fromUtcMs, middle).altitudeDegrees).toBeCloseTo(20, 3);
    expect(sunFromSite(window.toUtcMs, middle).altitudeDegrees).toBeCloseTo(20, 3);
  });
});
