import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { killers, mutants } from "./mutants.ts";

test("every line to break is there exactly once, and has tests that have to notice", () => {
  const lost = mutants.filter(({ file, from }) => {
    const text = readFileSync(join(import.meta.dirname, "../..", file), "utf8");
    return text.split(from).length !== 2 || !killers.some(({ room }) => file.startsWith(`${room}/`));
  });
  expect(lost.map(({ file, from }) => `${file}: ${from}`)).toEqual([]);
  expect(mutants.length).toBeGreaterThanOrEqual(60);
});
