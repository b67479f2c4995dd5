import { expect, test } from "vitest";
import { azimuthDegrees, seenFrom, sunPlace } from "../../sim-devices/scene/sun/sun-place.ts";

// Reda and Andreas, NREL/TP-560-34302 (rev. 2008), worked example.
const site = { latitudeDegrees: 39.742476, longitudeDegrees: -105.1786, elevationMetres: 1830.14 };
const at = Date.UTC(2003, 9, 17, 19, 30, 30);

test("the Sun stands where the published example has it", () => {
  const sun = sunPlace(site, at);
  expect(sun.raHours * 15).toBeCloseTo(202.22704, 2);
  expect(sun.decDegrees).toBeCloseTo(-9.316179, 2);
  expect(sun.hourAngleDegrees).toBeCloseTo(11.105902, 2);
  expect(azimuthDegrees(site, sun.hourAngleDegrees, sun.decDegrees)).toBeCloseTo(194.34024, 1);
  // Refraction here is for sea level: 0.0029 degrees more than the example's at 820 mbar.
  expect(Math.abs(90 - 50.11162 - sun.altitudeDegrees)).toBeLessThan(0.02);
});

test("its size and its axis are those of the Astronomical Almanac 2013", () => {
  const june = sunPlace(site, Date.UTC(2013, 5, 17));
  expect(Math.abs(june.semidiameterArcsec - 944.2)).toBeLessThan(0.5); // topocentric differs by the parallax of the radius
  for (const [month, pole] of [
    [0, 1.98],
    [3, -26.15],
    [6, -2.64],
    [9, 25.97],
  ] as const) {
    expect(sunPlace(site, Date.UTC(2013, month, 1)).poleDegrees).toBeCloseTo(pole, 1);
  }
});

test("small offsets are laid out east and north, large ones keep their distance", () => {
  const axis = { raHours: 6, decDegrees: 60 };
  const east = seenFrom(axis, { raHours: 6 + 10 / 3600 / 15 / Math.cos(Math.PI / 3), decDegrees: 60 });
  expect(east.eastArcsec).toBeCloseTo(10, 4);
  expect(east.northArcsec).toBeCloseTo(0, 2);
  const far = seenFrom(axis, { raHours: 18, decDegrees: 60 });
  expect(Math.hypot(far.eastArcsec, far.northArcsec) / 3600).toBeCloseTo(60, 6);
});
