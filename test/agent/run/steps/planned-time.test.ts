import { expect, test } from "vitest";
import { plannedObserving } from "../../../../agent/run/steps/planned-time.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { readPlan } from "../../../../plans/plan-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { testRigText } from "../fake-run.ts";
import { fakeTable } from "../fake-steps.ts";

const rigFile = readRigFile(testRigText, "rig.yaml");
const dawnUtcMs = Date.UTC(2026, 5, 20, 4);

/** Every step but a wait is planned to take a minute. */
function planned(steps: string, sun = "{ altitudeDegreesMin: 20 }") {
  const plan = readPlan(`plan: p\nsun: ${sun}\nsteps:\n${steps}`, "plan.yaml");
  return plannedObserving(fakeTable({}), { plan, rigFile, findings: { lightRate: {} } }, dawnUtcMs);
}
const altitudeAt = (utcMs: number) => sunFromSite(utcMs, rigFile.site).altitudeDegrees;

test("waits before the first step that needs the Sun are no looking at it", () => {
  const { fromUtcMs, toUtcMs } = planned(
    "  - wait: { untilSunAltitudeDegrees: 30 }\n  - centre\n  - darks\n",
  );
  expect(altitudeAt(fromUtcMs)).toBeCloseTo(30, 1);
  expect(toUtcMs - fromUtcMs).toBe(120_000);
});

test("a wait for the Sun in mid-plan counts with what it takes then", () => {
  const { fromUtcMs, toUtcMs } = planned(
    "  - centre\n  - wait: { untilSunAltitudeDegrees: 30 }\n  - darks\n",
  );
  expect(fromUtcMs).toBe(dawnUtcMs);
  expect(altitudeAt(toUtcMs - 60_000)).toBeCloseTo(30, 1);
});

test("the plan's own word on how long it takes counts before its steps", () => {
  const sun = "{ altitudeDegreesMin: 20, plannedMinutes: 90 }";
  expect(planned("  - wait: { minutes: 10 }\n  - centre\n", sun)).toEqual({
    fromUtcMs: dawnUtcMs + 600_000,
    toUtcMs: dawnUtcMs + 5_400_000,
  });
});
