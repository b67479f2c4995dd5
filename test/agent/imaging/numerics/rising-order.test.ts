import { expect, test } from "vitest";
import { risingOrder } from "../../../../agent/imaging/numerics/rising-order.ts";
import { Random } from "../../../../drivers/kit/random.ts";

test("rising order is that of a stable sort, negative values and ties included", () => {
  const random = new Random(20260714);
  for (const count of [0, 1, 2, 100, 30_000]) {
    const values = Float64Array.from({ length: count }, () => Math.round(300 * random.gauss()) / 4);
    const wanted = Uint32Array.from(values.keys()).sort((a, b) => values[a]! - values[b]!);
    expect(risingOrder(values)).toEqual(wanted);
  }
  expect([...risingOrder(Float64Array.of(Infinity, 1e30, Number.NaN, -Infinity, -1e-30))]).toEqual([
    3, 4, 1, 0, 2,
  ]);
});

test("more values than an index has bits for are refused", () => {
  expect(() => risingOrder(new Float64Array(2 ** 20 + 1))).toThrow(RangeError);
});
