import { readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { runMachine } from "../../../../agent/run/machine/run-machine.ts";
import { drawMachine } from "./draw-machine.ts";

const readme = join(import.meta.dirname, "../../../../agent/run/README.md");
const picture = /```mermaid\n([\s\S]*?)\n```/;

test("the picture of the run in the README is that of the machine (DRAW=1 renews it)", () => {
  const drawn = drawMachine(runMachine);
  const text = readFileSync(readme, "utf8");
  if (process.env.DRAW === "1")
    writeFileSync(readme, text.replace(picture, `\`\`\`mermaid\n${drawn}\n\`\`\``));
  expect(picture.exec(readFileSync(readme, "utf8"))?.[1]).toBe(drawn);
});

test("every way out of the work leads to restoring", () => {
  const drawn = drawMachine(runMachine);
  const outOf = (state: string) =>
    [...drawn.matchAll(new RegExp(`^ *${state} --> (\\w+)`, "gm"))].map((match) => match[1]);
  expect(new Set(outOf("working"))).toEqual(new Set(["retreating", "restoring"]));
  expect(outOf("retreating")).toEqual(["restoring"]);
  expect(outOf("restoring")).toEqual(["closing"]);
});
