import { expect, test } from "vitest";
import { WordsQueue } from "../../../agent/terminal/words-queue.ts";

/** A reader that takes nothing until it is told to go on. */
function stalledReader() {
  const read: string[] = [];
  const goOn = Promise.withResolvers<void>();
  const queue = new WordsQueue(async (text) => {
    await goOn.promise;
    read.push(text);
    return true;
  });
  return { queue, goOn: () => goOn.resolve(), all: () => read.join("") };
}

test("words come out whole and in order", async () => {
  const { queue, goOn, all } = stalledReader();
  goOn();
  queue.say("one\n");
  queue.say("two\n", "canBeMissed");
  await queue.emptied();
  queue.say("three\n");
  await queue.emptied();
  expect(all()).toBe("one\ntwo\nthree\n");
});

test("while nobody reads, progress goes first, then the oldest lines, and it is said how many", async () => {
  const { queue, goOn, all } = stalledReader();
  const line = (n: number) => `line ${n} ${"x".repeat(1000)}\n`;
  for (let n = 0; n < 60; n++) {
    queue.say(line(n));
    queue.say(`${"■".repeat(1000)}\n`, "canBeMissed");
  }
  for (let n = 60; n < 100; n++) queue.say(line(n));
  goOn();
  await queue.emptied();
  const kept = [...all().matchAll(/^line (\d+) /gm)].map((match) => Number(match[1]));
  expect(all()).not.toContain("■");
  expect(kept.at(-1)).toBe(99);
  expect(kept.length).toBeGreaterThan(50);
  expect(all()).toContain(`(${100 - kept.length} lines were left out here: nobody was reading.)`);
});

test("when the reader is gone nothing waits for it, and nothing is kept", async () => {
  let asked = 0;
  const queue = new WordsQueue(async () => {
    asked++;
    throw new Error("no such terminal");
  });
  queue.say("one\n");
  await queue.emptied();
  queue.say("two\n");
  await queue.emptied();
  expect(asked).toBe(1);
});
