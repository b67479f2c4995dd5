import { expect, test } from "vitest";
import { smallStructure } from "../../../agent/imaging/match/small-structure.ts";
import { computeInThread } from "../../../agent/threads/compute-in-thread.ts";
import { Threads } from "../../../agent/threads/threads.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { Random } from "../../../drivers/kit/random.ts";

const shape = { widthPx: 1250, heightPx: 800 };
const pxCount = shape.widthPx * shape.heightPx;
const random = new Random(12);
const levels = Float32Array.from({ length: pxCount }, () => 1 + 0.003 * random.gauss());

const bytesOf = (values: Float32Array) => Buffer.from(values.buffer);
const at = (signal = new AbortController().signal) => ({ signal, pxCount });

function newBench(changes: ConstructorParameters<typeof Threads>[1] = {}) {
  const said: string[] = [];
  return { said, clock: systemClock, threads: new Threads((why) => said.push(why), changes) };
}

test("what is computed on another thread is the same, and this thread goes on meanwhile", async () => {
  const bench = newBench();
  let turns = 0;
  const turn = setInterval(() => turns++, 1);
  const found = await computeInThread(bench, at(), "smallStructure", levels, shape);
  clearInterval(turn);
  const here = smallStructure(levels, shape);
  expect(found).toMatchObject({ rms: here.rms, noiseRms: here.noiseRms, pixels: here.pixels });
  expect(bytesOf(found.fine).equals(bytesOf(here.fine))).toBe(true);
  expect(turns).toBeGreaterThan(5);
  expect(bench.said).toEqual([]);
});

test("a stop is heard at once, and its reason comes up", async () => {
  const bench = newBench();
  const stop = new AbortController();
  const found = computeInThread(bench, at(stop.signal), "smallStructure", levels, shape);
  stop.abort(new Error("clouds"));
  await expect(found).rejects.toThrow("clouds");
  await expect(computeInThread(bench, at(stop.signal), "smallStructure", levels, shape)).rejects.toThrow(
    "clouds",
  );
  expect(bench.said).toEqual([]);
});

test("what the computation throws comes up, whichever thread it was thrown on", async () => {
  const bench = newBench();
  const wrong = { ...shape, widthPx: 3 };
  expect(() => smallStructure(levels, wrong)).toThrow(/3 x 800/);
  await expect(computeInThread(bench, at(), "smallStructure", levels, wrong)).rejects.toThrow(/3 x 800/);
  const few = { ...at(), pxCount: 3 };
  await expect(computeInThread(bench, few, "smallStructure", levels, wrong)).rejects.toThrow(/3 x 800/);
});

test("what cannot be copied to another thread is computed here", async () => {
  const bench = newBench();
  const withFunction = { ...shape, note: () => 0 };
  const found = await computeInThread(bench, at(), "smallStructure", levels, withFunction);
  expect(found.rms).toBe(smallStructure(levels, shape).rms);
  expect(bench.said).toEqual([expect.stringContaining("cloned")]);
});

test("a program that does not load: computed here, and said once", async () => {
  const bench = newBench({ program: new URL("./no-such-program.ts", import.meta.url), valuesLeast: 0 });
  const small = { widthPx: 100, heightPx: 80 };
  const some = levels.subarray(0, 8000);
  const wanted = smallStructure(some, small);
  for (let time = 0; time < 2; time++)
    expect(await computeInThread(bench, at(), "smallStructure", some, small)).toEqual(wanted);
  expect(bench.said).toEqual([expect.stringContaining("no-such-program.ts")]);
});
