import { expect, test } from "vitest";
import type { ImagesFound } from "../../agent/procedures/images/images-request.ts";
import { sunFromSite } from "../../agent/sky/sun-from-site.ts";
import { playRun, tinyScene } from "../stage/stage.ts";

const planOf = (images: string) => `plan: timed
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - images: { frames: 1000, checkFlatEveryFrames: 1000, ${images} }
`;

test("every 30 seconds for three minutes: seven images, 30 seconds apart, the last not after the end", async () => {
  const { record, exitCode } = await playRun({
    scene: tinyScene,
    plan: planOf("everySeconds: 30, forMinutes: 3"),
  });
  expect(exitCode).toBe(0);
  const { takenWithin } = record!.steps[1]!.found as ImagesFound;
  const ends = takenWithin.map(({ toUtcMs }) => toUtcMs!);
  expect(ends.length).toBeGreaterThanOrEqual(6);
  expect(ends.length).toBeLessThanOrEqual(7);
  for (const [index, end] of ends.entries())
    if (index > 1) expect(Math.abs(end - ends[index - 1]! - 30_000)).toBeLessThan(500);
});

test("until the Sun has sunk to an altitude, however many were planned", async () => {
  const startUtc = "2026-06-21T15:00:00Z";
  const later = Date.parse(startUtc) + 900_000;
  const altitudeDegrees = sunFromSite(later, tinyScene.site).altitudeDegrees;
  const { record, exitCode } = await playRun({
    scene: tinyScene,
    startUtc,
    plan: planOf(`everySeconds: 60, untilSunAltitudeDegrees: ${altitudeDegrees.toFixed(4)}`),
  });
  expect(exitCode).toBe(0);
  const { takenWithin } = record!.steps[1]!.found as ImagesFound;
  expect(takenWithin.length).toBeGreaterThan(3);
  const last = takenWithin.at(-1)!.toUtcMs!;
  expect(later - last).toBeGreaterThan(-5000);
  expect(later - last).toBeLessThan(65_000);
});
