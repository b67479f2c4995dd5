import { expect, test } from "vitest";
import { smallStructure } from "../../../agent/imaging/match/small-structure.ts";
import { aside } from "../../../agent/procedures/aside/aside.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { Random } from "../../../drivers/kit/random.ts";

const shape = { widthPx: 1250, heightPx: 800 };
const pxCount = shape.widthPx * shape.heightPx;
const random = new Random(12);
const levels = Float32Array.from({ length: pxCount }, () => 1 + 0.003 * random.gauss());

const bytesOf = (values: Float32Array) => Buffer.from(values.buffer);
const ask = (signal = new AbortController().signal) => ({ clock: systemClock, signal, pxCount });

test("what is computed on another thread is the same, and this thread goes on meanwhile", async () => {
  let turns = 0;
  const turn = setInterval(() => turns++, 1);
  const found = await aside(ask(), "smallStructure", levels, shape);
  clearInterval(turn);
  const here = smallStructure(levels, shape);
  expect(found).toMatchObject({ rms: here.rms, noiseRms: here.noiseRms, pixels: here.pixels });
  expect(bytesOf(found.fine).equals(bytesOf(here.fine))).toBe(true);
  expect(turns).toBeGreaterThan(5);
});

test("a stop is heard at once, and its reason comes up", async () => {
  const stop = new AbortController();
  const found = aside(ask(stop.signal), "smallStructure", levels, shape);
  stop.abort(new Error("clouds"));
  await expect(found).rejects.toThrow("clouds");
  await expect(aside(ask(stop.signal), "smallStructure", levels, shape)).rejects.toThrow("clouds");
});

test("what the task throws comes up, whichever thread it was thrown on", async () => {
  const wrong = { ...shape, widthPx: 3 };
  expect(() => smallStructure(levels, wrong)).toThrow(/3 x 800/);
  await expect(aside(ask(), "smallStructure", levels, wrong)).rejects.toThrow(/3 x 800/);
  const few = { ...ask(), pxCount: 3 };
  await expect(aside(few, "smallStructure", levels, wrong)).rejects.toThrow(/3 x 800/);
});

test("what cannot be copied to another thread is computed here", async () => {
  const withFunction = { ...shape, note: () => 0 };
  const found = await aside(ask(), "smallStructure", levels, withFunction);
  expect(found.rms).toBe(smallStructure(levels, shape).rms);
});
