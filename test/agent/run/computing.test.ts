import { readFileSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { smallStructure } from "../../../agent/imaging/match/small-structure.ts";
import { computeInThread } from "../../../agent/threads/compute-in-thread.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { FakeRun } from "./fake-run.ts";
import type { FakeWork } from "./fake-steps.ts";

test("what has to be computed on the run's own thread: events and terminal say so once, and why", async () => {
  using run = new FakeRun();
  const random = new Random(12);
  const levels = Float32Array.from({ length: 8000 }, () => 1 + 0.003 * random.gauss());
  const shape = { widthPx: 100, heightPx: 80, note: () => 0 }; // cannot be copied to another thread
  const found: number[] = [];
  const warned: string[] = [];
  const flat: FakeWork = async (bench, signal) => {
    for (let time = 0; time < 2; time++) {
      const at = { signal, pxCount: 9e6 };
      found.push((await computeInThread(bench, at, "smallStructure", levels, shape)).rms);
    }
    return undefined;
  };
  const report = await run.run({ flat }, { warn: (text) => warned.push(text) });
  expect(report.ended).toBe("completed");
  const wanted = smallStructure(levels, shape).rms;
  expect(found).toEqual([wanted, wanted]);
  const events = readFileSync(join(run.folder, "run", "events.ndjson"), "utf8")
    .trim()
    .split("\n");
  const told = events
    .map((line) => JSON.parse(line))
    .filter(({ event }) => event === "computing without a second thread");
  expect(told).toEqual([expect.objectContaining({ why: expect.stringContaining("cloned") })]);
  expect(warned.filter((text) => text.startsWith("Computing on one thread"))).toEqual([
    expect.stringMatching(/which is slower .*cloned/),
  ]);
});
