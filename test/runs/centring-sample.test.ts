import { expect, test } from "vitest";
import { resultText, rowText, run } from "../campaign/centring.ts";

test("three scenes of the centring campaign, over INDI bytes in memory: centred, covered or as found", async () => {
  const result = await run([1, 2, 3]);
  const told = [...result.rows.map(rowText), resultText(result)].join("\n");
  expect(result.centred, told).toBe(3);
  expect(result.leftUncovered, told).toBe(0);
  expect(result.offBaseline, told).toBe(0);
});
