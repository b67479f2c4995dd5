import { mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { writeExamples } from "../../../agent/commands/examples.ts";
import { loadSchedule } from "../../../agent/commands/schedule-from-file.ts";
import { exampleFiles } from "../../../plans/example-files.ts";

const folder = mkdtempSync(join(tmpdir(), "evenfield-examples-"));
afterAll(() => rmSync(folder, { recursive: true }));
const plans = join(import.meta.dirname, "../../../plans");

test("every file to start from is written, and those that name each other find each other", async () => {
  const outcome = await writeExamples(folder);
  expect(outcome.result).toEqual({ folder, written: exampleFiles.length, kept: [] });
  for (const file of exampleFiles)
    expect(readFileSync(join(folder, file), "utf8")).toBe(readFileSync(join(plans, file), "utf8"));
  expect(loadSchedule(join(folder, "serve/each-clear-day.yaml")).plans.size).toBe(3);
});

test("no file that is shipped is left out of the list", () => {
  const shipped = readdirSync(plans, { recursive: true, encoding: "utf8", withFileTypes: true })
    .filter((entry) => entry.isFile() && !/\.(ts|md|json)$/.test(entry.name))
    .map((entry) => join(entry.parentPath, entry.name).slice(plans.length + 1));
  expect([...exampleFiles].sort()).toEqual(shipped.sort());
});

test("what a person has changed is left as it is", async () => {
  const mine = join(folder, "first-flat.yaml");
  writeFileSync(mine, "mine");
  const outcome = await writeExamples(folder);
  expect(outcome.result).toMatchObject({ written: 0 });
  expect(readFileSync(mine, "utf8")).toBe("mine");
});

test("a file where the folder should be is told", async () => {
  const file = join(folder, "a-file");
  writeFileSync(file, "");
  await expect(writeExamples(file)).rejects.toThrow(/could not be written/);
});
