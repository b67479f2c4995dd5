import { expect, test } from "vitest";
import { codeOf, sources } from "./imports.ts";

const fromWithFunction = /\b(?:Float32|Float64|Uint8|Uint16|Uint32|Int16|Int32)Array\.from\([\w.!]+,/;

test("arrays of pixels are filled by plain loops: the runtime's from() with a function takes tens of times as long", () => {
  const files = sources.filter((file) => /^(agent|drivers)\//.test(file));
  expect(files.length).toBeGreaterThan(400);
  expect(files.filter((file) => fromWithFunction.test(codeOf(file)))).toEqual([]);
});
