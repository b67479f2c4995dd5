import { expect, test } from "vitest";
import { RefusedError } from "../../../drivers/kit/errors.ts";
import { escapeSteering } from "../../../drivers/kit/plain-text.ts";

test("what steers a terminal is shown instead; words, line breaks and tabs stay", () => {
  expect(escapeSteering("\u001b]52;c;aGk=\u0007\u009b2J\u202ebad\r\u0008é ✓\n\tmore")).toBe(
    "\\u001b]52;c;aGk=\\u0007\\u009b2J\\u202ebad\\u000d\\u0008é ✓\n\tmore",
  );
});

test("in JSON an escaped character is the same character", () => {
  const told = { name: "a\u001b[2J\u202eb\u009bc\u007f" };
  expect(JSON.parse(escapeSteering(JSON.stringify(told)))).toEqual(told);
});

test("a device's words can't pass for a line of ours, in an error neither", () => {
  const forged = "no\nAll good: nothing to restore.\u2028\u001b[1A";
  expect(new RefusedError("Cover", forged).message).toBe(
    "Cover: no\\u000aAll good: nothing to restore.\\u2028\\u001b[1A",
  );
});
