import { PassThrough } from "node:stream";
import { expect, test } from "vitest";
import { askOver } from "../../../agent/commands/person.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";

/** A terminal at which somebody types one of these whenever they are asked. */
function terminal(...typed: string[]) {
  const input = new PassThrough();
  const output = Object.assign(new PassThrough(), { isTTY: true, columns: 80 });
  let asked = 0;
  output.on("data", (text: Buffer) => {
    if (String(text).includes("[y/n]")) input.write(typed[asked++]!);
  });
  return { input, output, timesAsked: () => asked };
}

test("asks again until the answer is y or n", async () => {
  const { input, output, timesAsked } = terminal("what\r", "\r", "Yes\r");
  expect(await askOver(input, output, () => {})("Is the cap on?", neverAborted)).toBe("yes");
  expect(timesAsked()).toBe(3);
});

test("Ctrl-C instead of an answer is a stop like any other, with its reason", async () => {
  const { input, output } = terminal("\u0003");
  const stop = new AbortController();
  const reason = new Error("stopped by the operator");
  const answer = askOver(input, output, () => stop.abort(reason))("Is the cap on?", stop.signal);
  await expect(answer).rejects.toBe(reason);
});
