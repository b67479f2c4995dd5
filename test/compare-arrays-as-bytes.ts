import { expect } from "vitest";

/** Typed arrays that agree byte for byte are equal; value by value, the comparison costs seconds for a frame. */
function areSameBytes(a: unknown, b: unknown): true | undefined {
  if (!ArrayBuffer.isView(a) || !ArrayBuffer.isView(b)) return undefined;
  if (a.constructor !== b.constructor || a.byteLength !== b.byteLength) return undefined;
  const [left, right] = [a, b].map((view) => Buffer.from(view.buffer, view.byteOffset, view.byteLength));
  return left!.equals(right!) ? true : undefined; // where they differ, vitest says how
}

expect.addEqualityTesters([areSameBytes]);
