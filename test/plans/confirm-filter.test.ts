import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { confirmFilterInText } from "../../plans/confirm-filter.ts";
import { readRigFile } from "../../plans/rig-file.ts";

const text = readFileSync(join(import.meta.dirname, "../../plans/demo-rig.yaml"), "utf8");
const when = "2026-12-01T10:20Z";

test("only the day is another; comments, order and spaces stay", () => {
  const changed = confirmFilterInText(text, "rig.yaml", when);
  expect(readRigFile(changed, "rig.yaml").sunFilter.lastConfirmed).toBe(when);
  const [before, after] = [text.split("\n"), changed.split("\n")];
  expect(after.length).toBe(before.length);
  expect(after.filter((line, index) => line !== before[index])).toHaveLength(1);
});

test.each([["flow", '{ describe: a, madeForThisInstrument: true, lastConfirmed: "2026-05-01" }']])(
  "in %s form and in quotes",
  (_, map) => {
    const flow = text.replace(/^sunFilter:\n( .*\n)+/m, `sunFilter: ${map}\n`);
    const changed = confirmFilterInText(flow, "rig.yaml", when);
    expect(changed).toContain(`lastConfirmed: ${when} }`);
  },
);

test("a file with a fault is not written, and what is no statement of a person's does not become one", () => {
  expect(() =>
    confirmFilterInText(text.replace("madeForThisInstrument: true", "madeForThisInstrument:"), "r", when),
  ).toThrow();
  expect(() => confirmFilterInText(text.replace(/lastConfirmed:.*/, "lastConfirmed:"), "r", when)).toThrow();
});
