import { expect, test } from "vitest";
import { SpareMemory } from "../../../drivers/kit/spare-memory.ts";

test("what was given back is used again, and whoever still holds it sees nothing", () => {
  const memory = new SpareMemory();
  const first = memory.take(1000).fill(7);
  const words = new Uint16Array(first.buffer, 0, 400);
  memory.giveBack(words);
  expect([first.length, words.length]).toEqual([0, 0]);
  const second = memory.take(900);
  expect(second.length).toBe(900);
  expect(second[899]).toBe(7); // the same bytes: nothing was cleared
  expect(memory.take(900)[899]).not.toBe(7);
});

test("memory of another size is left for those that it fits", () => {
  const memory = new SpareMemory();
  memory.giveBack(memory.take(1000).fill(7));
  expect(memory.take(1001).buffer.byteLength).toBe(1001);
  expect(memory.take(800).buffer.byteLength).toBe(800);
  expect(memory.take(990).buffer.byteLength).toBe(1000);
});

test("memory that came from elsewhere is not touched, nor what was given back already", () => {
  const memory = new SpareMemory();
  const pooled = Buffer.from("somebody else's too");
  memory.giveBack(pooled);
  expect(pooled.toString()).toBe("somebody else's too");
  const own = memory.take(100);
  memory.giveBack(own);
  memory.giveBack(own);
  expect(memory.take(100).buffer).not.toBe(memory.take(100).buffer);
});

test("no more is kept than a series lets go at once", () => {
  const memory = new SpareMemory();
  const frames = Array.from({ length: 20 }, () => memory.take(100).fill(9));
  for (const frame of frames) memory.giveBack(frame);
  const again = Array.from({ length: 20 }, () => memory.take(100));
  expect(again.filter((bytes) => bytes.every((byte) => byte === 9)).length).toBe(12);
});
