import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { registerRehearse } from "../../../agent/commands/rehearse.ts";
import { evenfield } from "./command-host.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-days-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));
const file = (name: string, text: string) => {
  writeFileSync(join(folder, name), text);
  return join(folder, name);
};
const runs = ["--runs", join(folder, "runs")];

test("two days of service: every entry has its word, no image is lost, nothing unsafe happens", async () => {
  file(
    "plan.yaml",
    "plan: two-images\nsun: { altitudeDegreesMin: 20 }\nsteps:\n  - centre\n  - images: { frames: 2 }\n",
  );
  const schedule = file(
    "days.yaml",
    `schedule: days
entries:
  - entry: morning
    plan: plan.yaml
    when: { sunRisesPastDegrees: 30 }
    lateMinutesMax: 120
    again: { timesMost: 3, afterMinutes: 20 }
  - entry: later
    plan: plan.yaml
    when: { afterEntry: morning, minutesLater: 90 }
`,
  );
  const options = ["--schedule", schedule, "--days", "2", "--seed", "4", ...runs, "--json"];
  const { json, err, exitCode } = await evenfield(registerRehearse, ["rehearse", ...options]);
  expect(json, `seed ${json.seed}`).toMatchObject({ days: 2, forgotten: [], unsafe: [], lostFrames: [] });
  expect(exitCode).toBe(0);
  const done = json.attempts.filter(({ ended }: { ended: string }) => ended === "done");
  expect(json.imagesKept).toBeGreaterThanOrEqual(2 * done.length);
  expect(done.length).toBeGreaterThan(2);
  // The seed is one with a kill and with trouble enough that not all went well at once.
  expect(json.kills).toBeGreaterThan(0);
  expect(json.restarts).toBe(2);
  expect(json.attempts.length).toBeGreaterThan(done.length);
  expect(json.slope).toBeNull();
  expect(err).toMatch(/day 2, 2026-06-23: .*went wrong: /);
});

test("a plan and a schedule, or neither, is refused before anything starts", async () => {
  for (const names of [[], ["plan.yaml", "--schedule", "days.yaml"]]) {
    const { exitCode, err } = await evenfield(registerRehearse, ["rehearse", ...names, ...runs]);
    expect(exitCode).toBe(2);
    expect(err).toMatch(/Nothing was started\.\nName a plan, or a schedule/);
  }
});
