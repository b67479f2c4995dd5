import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { failureRecord, stepFailure } from "../../../../agent/run/record/failure-record.ts";
import { DeadlineError } from "../../../../drivers/kit/errors.ts";

const stuck = new DeadlineError("Cap A", "closing", 30);

test("a device's error keeps its code, its device and its advice", () => {
  expect(failureRecord(stuck)).toMatchObject({
    code: "RIG_DEADLINE",
    device: "Cap A",
    whatToDo: stuck.whatToDo,
  });
});

test("an error that nobody foresaw is a fault of ours, with its stack", () => {
  expect(failureRecord(new TypeError("x is not a y"))).toMatchObject({
    code: "FAULT",
    stack: expect.any(String),
  });
  expect(failureRecord("thrown text")).toMatchObject({ code: "FAULT", message: "thrown text" });
});

test("of several failures the first cause is told first", () => {
  const suppressed = new SuppressedError(new Error("the clean-up failed too"), stuck);
  expect(failureRecord(suppressed).code).toBe("RIG_DEADLINE");
  const both = new AggregateError([new Error("odd"), stuck]);
  expect(failureRecord(both)).toMatchObject({ code: "RIG_DEADLINE", message: `odd; ${stuck.message}` });
});

test("being stopped is no failure; failing while stopping is", () => {
  expect(stepFailure({ ended: "stopped", failure: new Error("stopped by the operator") })).toBeUndefined();
  expect(stepFailure({ ended: "stopped", failure: stuck })?.code).toBe("RIG_DEADLINE");
  expect(stepFailure({ ended: "completed" })).toBeUndefined();
});

test("a file in the place of the run's folder is the disk's trouble, not a fault of ours", () => {
  const folder = mkdtempSync(join(tmpdir(), "failure-record-"));
  const file = join(folder, "run");
  writeFileSync(file, "");
  try {
    mkdirSync(file, { recursive: true });
    expect.unreachable();
  } catch (error) {
    expect(failureRecord(error)).toMatchObject({ code: "DISK", message: expect.stringContaining(file) });
  } finally {
    rmSync(folder, { recursive: true });
  }
});
