import { expect, test } from "vitest";
import { run } from "../../../campaign/fringes.ts";

test("a sample of the campaign: fringes of 0.5 % are found in every scene, and none where there are none", async () => {
  const told: string[] = [];
  const result = await run({ seed: 5000, scenes: 4, print: (line) => void told.push(line) });
  expect(result.found, told.join("\n")).toBe(4);
  expect(result.falseAlarms, told.join("\n")).toBe(0);
});
