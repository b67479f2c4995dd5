import { expect, test } from "vitest";
import { safeWords, takeInThread } from "../../../agent/commands/process-host.ts";
import { lineAgain } from "../../../agent/outputs/terminal-progress.ts";
import { WordsQueue } from "../../../agent/terminal/words-queue.ts";

test("a thread for the words that does not load: they are written all the same, and that is said once", async () => {
  const program = new URL("no-such-program.ts", import.meta.url);
  let written = "";
  const words = new WordsQueue(
    takeInThread(2, { program }, (_, text) => {
      written += text;
      return true;
    }),
  );
  words.say("The rig is as it was found.\n");
  await words.emptied();
  words.say("The cover is closed.\n");
  await words.emptied();
  expect(written).toMatch(
    /^Words are written without a thread of their own \(.+\): see that .*\nThe rig is as it was found\.\nThe cover is closed\.\n$/s,
  );
});

test("only the line that is drawn again steers the terminal, and only to its own beginning", () => {
  const line = `${lineAgain}4/40 \u001b[2J`;
  expect(safeWords(line, "canBeMissed")).toBe(`${lineAgain}4/40 \\u001b[2J`);
  expect(safeWords(line)).not.toContain("\u001b");
});
