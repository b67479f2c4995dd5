import { PassThrough } from "node:stream";
import { expect, test } from "vitest";
import { askOver } from "../../../agent/commands/person.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";

/** A terminal at which somebody types one of these lines whenever they are asked. */
function terminal(...typed: string[]) {
  const input = new PassThrough();
  let asked = 0;
  const stderr = (text: string) => {
    if (text.includes("[y/n]")) setImmediate(() => input.write(typed[asked++] ?? ""));
  };
  return { ask: askOver(input, { stderr }), timesAsked: () => asked };
}

test("asks again until the answer is y or n", async () => {
  const { ask, timesAsked } = terminal("what\n", "\n", "Yes\n");
  expect(await ask("Is the cap on?", neverAborted)).toBe("yes");
  expect(timesAsked()).toBe(3);
});

test("a stop instead of an answer ends the question with its reason", async () => {
  const { ask } = terminal();
  const stop = new AbortController();
  const reason = new Error("stopped by the operator");
  const answer = ask("Is the cap on?", stop.signal);
  stop.abort(reason);
  await expect(answer).rejects.toBe(reason);
});
