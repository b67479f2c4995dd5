import { expect, test } from "vitest";
import { binLogs, logUnit, noLog, toLogs } from "../../../../agent/imaging/displaced/frame-logs.ts";
import { Random } from "../../../../drivers/kit/random.ts";

test("logarithms over the median, to half a unit, over all levels that count", () => {
  const random = new Random(5);
  const levels = Float32Array.from({ length: 5001 }, (_, k) =>
    k < 2501 ? 1000 : 1000 * Math.exp(random.between(-1.5, 1)),
  );
  const logs = new Int16Array(levels.length);
  const middle = toLogs(levels, logs)!;
  const worst = Math.max(
    ...levels.map((level, i) => Math.abs(logs[i]! - (Math.log(level) - middle) / logUnit)),
  );
  expect(worst).toBeLessThan(0.51);
});

test("what is dark, missing or not a number has no value, and a frame of such has no light", () => {
  const levels = Float32Array.from({ length: 100 }, () => 500);
  levels.set([Number.NaN, 0, -3, 74, 76], 10);
  const logs = new Int16Array(100);
  toLogs(levels, logs);
  expect([...logs.subarray(9, 16)].map((log) => log === noLog)).toEqual([
    false,
    true,
    true,
    true,
    true,
    false,
    false,
  ]);
  expect(toLogs(new Float32Array(100), logs)).toBeUndefined();
  expect(toLogs(new Float32Array(100).fill(Number.NaN), logs)).toBeUndefined();
});

test("a small disc in a dark frame is measured by itself", () => {
  const levels = Float32Array.from({ length: 10_000 }, (_, i) => (i % 10 === 0 ? 8000 : 20));
  const logs = new Int16Array(levels.length);
  expect(toLogs(levels, logs)).toBeCloseTo(Math.log(8000), 6);
  expect(logs[1]).toBe(noLog);
});

test("binning takes the mean of what is there, and nothing from a block that is half empty", () => {
  const logs = Int16Array.of(10, 20, noLog, noLog, 7, 30, 40, noLog, 1, 7);
  expect([...binLogs(logs, 5, 2, 2)]).toEqual([25, noLog]);
});
