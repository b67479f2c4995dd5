import { readdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { Check, exceptionOf, isExcused, leavesOf, listedChecks } from "./check.ts";
import { exceptions } from "./exceptions.ts";

/** Text of all test files, without what they use in part. */
const sources = readdirSync(import.meta.dirname)
  .filter((name) => name.endsWith(".test.ts") && name !== "check-values.test.ts")
  .map((name) =>
    readFileSync(join(import.meta.dirname, name), "utf8").replaceAll(/checkInPart\("[^"]*"\)/g, ""),
  );

const isInUse = (id: string) =>
  sources.some(
    (text) =>
      text.includes(`"${id}"`) ||
      [...text.matchAll(/checksOf\("([^"]*)"\)/g)].some(([, prefix]) => id.startsWith(prefix!)),
  );

test("every listed check belongs to a test file, which then compares all of it or fails", () => {
  expect(listedChecks.map(({ id }) => id).filter((id) => !isInUse(id))).toEqual([]);
});

test("every exception names values of the list, says why, and widens no listed tolerance without a limit", () => {
  const named = new Set(
    listedChecks.flatMap(({ id, expected }) =>
      leavesOf(expected).map(([leaf]) => exceptionOf(id, leaf)?.name),
    ),
  );
  expect(Object.keys(exceptions).filter((name) => !named.has(name))).toEqual([]);
  for (const [name, { because, within, withinShare }] of Object.entries(exceptions)) {
    expect(because.length, name).toBeGreaterThan(20);
    expect(within !== undefined && withinShare !== undefined, `${name} has two limits`).toBe(false);
  }
});

test("how much of the list that is", () => {
  const leaves = listedChecks.flatMap(({ id, expected }) =>
    leavesOf(expected).map(([leaf]) => ({ id, leaf })),
  );
  const made = leaves.map(({ id, leaf }) => exceptionOf(id, leaf)?.exception);
  const excused = made.filter((one) => isExcused(one)).length;
  const widened = made.filter((one) => one !== undefined).length - excused;
  const whole = listedChecks.filter(({ id, expected }) =>
    leavesOf(expected).every(([leaf]) => exceptionOf(id, leaf) === undefined),
  );
  // What a closing note may say of the list: to be changed with it, or with the exceptions, and with the note.
  expect({
    checks: listedChecks.length,
    whole: whole.length,
    values: leaves.length,
    widened,
    excused,
  }).toEqual(counts);
});

const sample = {
  id: "sample",
  topic: "the list's reader itself",
  inputs: {},
  expected: { level: 2, pair: { "0.5": [1, 2] }, word: "a" },
  tolerance: { abs: 0.01, levelRel: 0.1 },
  source: "made up",
};

test("a value beyond its tolerance fails, one left out is told, and the tolerance is the list's", () => {
  const one = new Check(sample);
  expect(() => one.agrees("level", 2.3)).toThrow(/at most 0.2/);
  one.agrees("level", 2.19);
  expect(() => one.agrees("pair", { "0.5": [1.02, 2] })).toThrow(/at most 0.01/);
  expect(() => one.agrees("pair", { "0.5": [] })).toThrow(/no value/);
  expect(() => one.agrees("level", Number.NaN)).toThrow(/off by NaN/);
  expect(() => one.agrees("level", 2, { by: "seconds" })).toThrow(/no tolerance/);
  one.agrees("word", "a");
  expect(one.complaints().map((line) => line.split(":")[0])).toEqual([
    "sample pair.0.5.0",
    "sample pair.0.5.1",
  ]);
  one.agrees("pair.0.5", [1, 2]);
  expect(one.complaints()).toEqual([]);
});

test("without a listed tolerance nothing is compared", () => {
  const one = new Check({ ...sample, tolerance: { note: "about" } });
  expect(() => one.agrees("level", 2)).toThrow(/no tolerance is listed/);
});

const counts = { checks: 87, whole: 67, values: 524, widened: 48, excused: 27 };
