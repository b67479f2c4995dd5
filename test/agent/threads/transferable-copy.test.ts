import { expect, test } from "vitest";
import { makeTransferableCopy } from "../../../agent/threads/transferable-copy.ts";

test("what is posted has its arrays copied once each, and nothing of ours is taken away", () => {
  const whole = new Float32Array([1, 2, 3, 4]);
  const part = whole.subarray(1, 3);
  const shared = new Uint8Array(new SharedArrayBuffer(2));
  const at = new Date(0);
  const message = {
    name: "sum",
    about: [{ whole, again: whole, part }, shared, at, undefined, null, "word"],
  };
  const { message: copy, buffers } = makeTransferableCopy(message);
  expect(buffers.map(({ byteLength }) => byteLength)).toEqual([16, 8]);
  const arrived = structuredClone(copy, { transfer: [...buffers] }) as typeof message;
  expect(arrived).toEqual(message);
  const first = arrived.about[0] as { whole: Float32Array; again: Float32Array };
  expect(first.again).toBe(first.whole);
  expect(whole).toEqual(new Float32Array([1, 2, 3, 4]));
  expect(copy.about[1]).toBe(shared);
});

test("an object that holds itself is copied, not followed for ever", () => {
  const ring: Record<string, unknown> = { values: new Uint16Array([7]) };
  ring.self = ring;
  const { message } = makeTransferableCopy(ring);
  expect(message.self).toBe(message);
  expect(message.values).toEqual(ring.values);
  expect(message.values).not.toBe(ring.values);
});
