import { describe, expect, test } from "vitest";
import { registerSun, sunReport } from "../../../agent/commands/sun.ts";
import { evenfield } from "./command-host.ts";

describe("evenfield sun", () => {
  test("the worked example of the Solar Position Algorithm, south of the equator too, as one JSON result", async () => {
    const host = await evenfield(registerSun, [
      "sun",
      "--site",
      "39.742476,-105.1786,1830.14",
      "--at",
      "2003-10-17T12:30:30-07:00",
      "--json",
    ]);
    expect(host.exitCode).toBe(0);
    expect(host.err).toBe("");
    expect(host.json.utc).toBe("2003-10-17T19:30:30Z");
    expect(host.json.azimuthDegrees).toBeCloseTo(194.34, 2);
    expect(host.json.altitudeDegrees).toBeCloseTo(90 - 50.11162, 2);
    expect(host.json.day.riseUtc.slice(0, 16)).toBe("2003-10-17T13:12");
    const south = await evenfield(registerSun, [
      "sun",
      "--site",
      "-33.9,18.4",
      "--at",
      "2024-09-22T10:30",
      "--json",
    ]);
    expect(south.json.trueAltitudeDegrees).toBeCloseTo(55.9975, 2);
  });

  test("for people: every line says its unit, and a polar night says what is missing", async () => {
    const host = await evenfield(registerSun, ["sun", "--site", "69.6,18.9", "--at", "2026-12-21"]);
    expect(host.exitCode).toBe(0);
    expect(host.out).toMatch(/it is down/);
    expect(host.out).toMatch(/rises not/);
    expect(host.out).toMatch(/usable {7}not today/);
    expect(
      sunReport(Date.UTC(2026, 11, 21), { latitudeDegrees: 69.6, longitudeDegrees: 18.9, elevationMetres: 0 })
        .airMass,
    ).toBeNull();
  });

  test("without a time it is now, by the clock that is passed in", async () => {
    const host = await evenfield(registerSun, ["sun", "--site", "46.5,9.8,1720", "--json"]);
    expect(host.json.utc).toBe("2026-07-14T10:00:00Z");
  });

  test.each([
    ["91,10", undefined, /is not a site/],
    ["46.5", undefined, /is not a site/],
    ["46.5,", undefined, /is not a site/],
    ["46.5,9.8,1720,4", undefined, /is not a site/],
    ["north,east", undefined, /is not a site/],
    ["46.5,9.8", "tomorrow", /is not a time/],
    ["46.5,9.8", "2026-13-01", /is not a time/],
    ["46.5,9.8", "1066-10-14", /is not a time/],
  ])("--site %s --at %s is refused with what is allowed", async (site, at, message) => {
    const host = await evenfield(registerSun, ["sun", "--site", site, ...(at ? ["--at", at] : [])]);
    expect(host.exitCode).toBe(2);
    expect(host.err).toMatch(message);
    expect(host.out).toBe("");
  });
});
