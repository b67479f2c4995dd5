import { expect, test } from "vitest";
import { FileProblemsError } from "../../plans/file-problems.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { type BrokenFile, brokenPlans, brokenRigs, goodPlan, goodRig } from "./broken-files.ts";

function problemsOf(read: () => unknown) {
  try {
    read();
  } catch (error) {
    if (error instanceof FileProblemsError) return error.problems;
    throw error;
  }
  return [];
}

function broken(good: string, { change: [find, put] }: BrokenFile): string {
  expect(good).toContain(find);
  return good.replace(find, put);
}

test("there are at least 30 broken files", () => {
  expect(brokenPlans.length + brokenRigs.length).toBeGreaterThanOrEqual(30);
});

test.each(brokenPlans)("a plan with $fault gets one message with line, value and what is allowed", (file) => {
  const problems = problemsOf(() => readPlan(broken(goodPlan, file), "p.yaml"));
  expect(problems).toEqual([{ file: "p.yaml", line: file.line, message: file.message }]);
});

test.each(brokenRigs)(
  "a rig file with $fault gets one message with line, value and what is allowed",
  (file) => {
    const problems = problemsOf(() => readRigFile(broken(goodRig, file), "r.yaml"));
    expect(problems).toEqual([{ file: "r.yaml", line: file.line, message: file.message }]);
  },
);

test("several faults are told at once, in the order of their lines", () => {
  const text = goodPlan
    .replace("frames: 40", "frames: 0")
    .replace("onFailure: continue", "onFail: x")
    .replace("25", "1");
  expect(problemsOf(() => readPlan(text, "p.yaml")).map((p) => p.line)).toEqual([4, 11, 15]);
});
