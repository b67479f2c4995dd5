import { describe, expect, test } from "vitest";
import { parseNumber, plainDecimal } from "../../../../drivers/indi/wire/number-text.ts";
import { Random } from "../../../../drivers/kit/random.ts";

describe("numbers from devices (pitfall 38: exponents, 20 digits, minus zero, nan)", () => {
  test.each([
    ["0.10000000000000000555", 0.1],
    ["1e-06", 1e-6],
    ["  -3.5\n", -3.5],
    ["+7", 7],
    [".5", 0.5],
    ["5.", 5],
    ["12:30:36", 12.51],
    ["12;30;36", 12.51],
    ["12 30 36", 12.51],
    ["-0:30", -0.5],
    ["-0:00:36", -0.01],
    ["12:30.5", 12 + 30.5 / 60],
    ["-10 15", -10.25],
    ["0:00:60", 1 / 60],
  ])("%j is %d", (text, value) => {
    expect(parseNumber(text)).toBeCloseTo(value, 12);
  });

  test.each([
    "nan",
    "-nan",
    "inf",
    "-inf",
    "1e999",
    "",
    "  ",
    "abc",
    "7abc",
    "0x1F",
    "12,5",
    "1:2:3:4",
    "1:75",
    "--1",
  ])("%j is no finite number", (text) => {
    expect(parseNumber(text)).toBeNaN();
  });

  test("minus zero stays a number", () => {
    expect(parseNumber("-0")).toBe(-0);
  });
});

describe("numbers to devices: a plain decimal with a point, no exponent", () => {
  test.each([
    [1e-7, "0.0000001"],
    [-1.5e-9, "-0.0000000015"],
    [1e21, "1000000000000000000000"],
    [1.25e22, "12500000000000000000000"],
    [-0, "0"],
    [0.1, "0.1"],
    [16384, "16384"],
  ])("%d is sent as %s", (value, text) => {
    expect(plainDecimal(value)).toBe(text);
  });

  test("what is sent reads back exactly", () => {
    const random = new Random(31);
    for (let i = 0; i < 5000; i++) {
      const value = random.gauss() * 10 ** random.whole(-30, 30);
      const text = plainDecimal(value);
      expect(text).toMatch(/^-?\d+(\.\d+)?$/);
      expect(Number(text)).toBe(value);
    }
  });

  test("nan and infinity can't be sent", () => {
    expect(() => plainDecimal(Number.NaN)).toThrow(RangeError);
    expect(() => plainDecimal(Number.POSITIVE_INFINITY)).toThrow(RangeError);
  });
});
