import { expect, test } from "vitest";
import { run as exposure } from "../campaign/exposure.ts";
import { run as leak } from "../campaign/leak.ts";
import { run as master } from "../campaign/master.ts";

const seed = 20260714;

test("a sample of the exposure campaign: few frames over six decades, the edge at 85 %, nothing clipped", () => {
  const lines: string[] = [];
  const result = exposure({ seed, starts: 24, print: (line) => void lines.push(line) });
  const told = lines.join("\n");
  expect(result.notDone, told).toBe(0);
  expect(result.framesWorst, told).toBeLessThanOrEqual(9);
  expect(result.framesMedian, told).toBeLessThanOrEqual(4);
  expect(result.framesMedianWithHistory, told).toBeLessThanOrEqual(2);
  expect(result.edgeLeast, told).toBeGreaterThanOrEqual(0.84);
  expect(result.edgeMost, told).toBeLessThanOrEqual(0.86);
  expect(result.healthyClippedPx, told).toBe(0);
});

test("a sample of the leak campaign: every leak found, none invented", async () => {
  const lines: string[] = [];
  const result = await leak({ seed, scenes: 4, print: (line) => void lines.push(line) });
  expect(result, lines.join("\n")).toMatchObject({ found: 4, falseAlarms: 0, failed: 0 });
});

test("a sample of the master campaign: as good as photons allow, sigma honest", async () => {
  const lines: string[] = [];
  const result = await master({ seed, scenes: 2, print: (line) => void lines.push(line) });
  const told = lines.join("\n");
  expect(result.failed, told).toBe(0);
  expect(result.overLimitMost, told).toBeLessThanOrEqual(1.05);
  expect(result.withinOneSigmaLeast, told).toBeGreaterThanOrEqual(0.66);
  expect(result.withinOneSigmaMost, told).toBeLessThanOrEqual(0.7);
});
