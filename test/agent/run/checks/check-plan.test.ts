import { expect, test } from "vitest";
import { checkPlan } from "../../../../agent/run/checks/check-plan.ts";
import { RunRefusedError } from "../../../../agent/run/record/run-errors.ts";
import type { RetreatRecord } from "../../../../agent/run/record/run-record.ts";
import { readPlan } from "../../../../plans/plan-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { forenoonUtcMs, testPlanText, testRigText } from "../fake-run.ts";
import { fakeTable } from "../fake-steps.ts";

interface Given {
  plan?: string;
  rig?: string;
  nowUtcMs?: number;
  unattended?: boolean;
  freeMegabytes?: number;
  trip?: RetreatRecord;
}

function refusal(given: Given): RunRefusedError | undefined {
  const plan = readPlan(given.plan ?? testPlanText, "plan.yaml");
  const rigFile = readRigFile(given.rig ?? testRigText, "rig.yaml");
  try {
    checkPlan({
      table: fakeTable({}),
      scene: { plan, rigFile, findings: { lightRate: {} } },
      nowUtcMs: given.nowUtcMs ?? forenoonUtcMs,
      unattended: given.unattended ?? true,
      freeDiskMegabytes: () => given.freeMegabytes ?? 10_000,
      unconfirmedTrip: given.trip,
    });
  } catch (error) {
    if (error instanceof RunRefusedError) return error;
    throw error;
  }
  return undefined;
}

test("a fitting plan on a clear forenoon is accepted", () => {
  expect(refusal({})).toBeUndefined();
});

test("a filter that has to be confirmed again: refused for safety, with the cautions", () => {
  const refused = refusal({ rig: testRigText.replace("2026-05-01", "2026-04-20") })!;
  expect(refused.kind).toBe("safety");
  expect(refused.message).toBe(
    "the Sun filter was last confirmed on 2026-04-20, 61 days ago; it has to be confirmed again after 60 days",
  );
  for (const words of ["Never look through", "finder", "maker", "rules at the site"]) {
    expect(refused.whatToDo).toContain(words);
  }
});

test("a filter confirmed tomorrow is a slip of the pen, and refused; today in another time zone is fine", () => {
  expect(refusal({ rig: testRigText.replace("2026-05-01", "2026-06-22") })!.message).toContain(
    "in the future",
  );
  expect(refusal({ rig: testRigText.replace("2026-05-01", "2026-06-21") })).toBeUndefined();
  expect(refusal({ rig: testRigText.replace("2026-05-01", "2026-06-20T10:01Z") })!.message).toContain(
    "in the future",
  );
  for (const time of ["2026-06-20T10:00Z", "2026-06-20T11:30:59+02:00"])
    expect(refusal({ rig: testRigText.replace("2026-05-01", time) })).toBeUndefined();
});

test("the Sun has to stay high enough for the whole of the planned time", () => {
  const lateUtcMs = Date.UTC(2026, 5, 20, 17, 45);
  const plan = testPlanText.replace("20 }", "20, plannedMinutes: 5 }");
  expect(refusal({ plan, nowUtcMs: lateUtcMs })).toBeUndefined();
  const longer = refusal({
    plan: plan.replace("plannedMinutes: 5", "plannedMinutes: 90"),
    nowUtcMs: lateUtcMs,
  })!;
  expect(longer.kind).toBe("safety");
  expect(longer.message).toMatch(
    /the Sun is 8\.\d° high at 2026-06-20T19:15Z, below the limit of 20°, within the 90 minutes/,
  );
});

test("the rig's own limit holds when it is higher than the plan's", () => {
  const rig = testRigText.replace("limits:\n", "limits:\n  sunAltitudeDegreesMin: 70\n");
  expect(refusal({ rig })!.message).toContain("below the limit of 70°");
});

test("a plan that begins by waiting for the Sun may start before sunrise", () => {
  const dawn = Date.UTC(2026, 5, 20, 3, 30);
  const waits = testPlanText.replace("steps:\n", "steps:\n  - wait: { untilSunAltitudeDegrees: 25 }\n");
  expect(refusal({ nowUtcMs: dawn })!.kind).toBe("safety");
  expect(refusal({ plan: waits, nowUtcMs: dawn })).toBeUndefined();
});

test("far too much light after which nobody confirmed the filter: no plan that needs the Sun begins", () => {
  const trip = {
    rig: "garden",
    runId: "1",
    utcMs: Date.UTC(2026, 5, 19, 14, 5, 30),
    kind: "brightness",
    reason: "99 % of the lit pixels clip",
    lastConfirmed: "2026-05-01",
  } as const;
  const refused = refusal({ trip })!;
  expect(refused.kind).toBe("safety");
  expect(refused.message).toBe(
    "a run retreated at 2026-06-19T14:05Z, because 99 % of the lit pixels clip, and nobody has confirmed the Sun filter since",
  );
  expect(refused.whatToDo).toContain("a day after 2026-06-19, or a time after 2026-06-19T14:05Z");
  expect(refused.whatToDo).toContain("Never look through");
  const plan = "plan: pause\nsteps:\n  - wait: { minutes: 5 }\n";
  expect(refusal({ trip, plan })).toBeUndefined();
});

test("too little room on the disk", () => {
  expect(refusal({ freeMegabytes: 100 })!.message).toContain(
    "100 MB are free on the disk, below the limit of 500 MB",
  );
});

test("a diffuser moved by hand needs somebody there", () => {
  const rig = testRigText.replace("{ server: home, device: Sheet A }", "{ by: hand }");
  const refused = refusal({ rig })!;
  expect(refused.kind).toBe("input");
  expect(refused.message).toContain("the diffuser is moved by hand, and nobody is there");
  expect(refusal({ rig, unattended: false })).toBeUndefined();
});

test("devices that the plan needs and the rig file lacks are all named", () => {
  const rig = testRigText.replace(/ {2}(cover|diffuser|mount):.*\n/g, "");
  expect(refusal({ rig })!.message).toBe(
    "step 1 (centre) needs a mount, and the rig file lists none; " +
      "step 2 (leak-check) needs a cover, and the rig file lists none; " +
      "step 2 (leak-check) needs a diffuser, and the rig file lists none; " +
      "step 3 (flat) needs a mount, and the rig file lists none; " +
      "step 3 (flat) needs a diffuser, and the rig file lists none",
  );
});

test("a flat by defocus needs a focuser", () => {
  const plan = testPlanText.replace("blur: diffuser", "blur: defocus");
  const rig = testRigText.replace(/^ {2}focuser:.*\n/m, "");
  expect(refusal({ plan, rig })!.message).toContain("needs a focuser, and the rig file lists none");
});
