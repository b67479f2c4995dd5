import { expect, test } from "vitest";
import { printNumber, readNumber } from "../../../sim-devices/indi/number-text.ts";

test("numbers print as C's %.20g", () => {
  const printed = [
    0.1,
    3.5,
    1.7300000190734863,
    -5.22519699999998,
    1e-6,
    15.041067,
    0,
    1e20,
    1234567890123456,
    Number.NaN,
  ];
  expect(printed.map(printNumber)).toEqual([
    "0.10000000000000000555",
    "3.5",
    "1.7300000190734863281",
    "-5.2251969999999801075",
    "9.9999999999999995475e-07",
    "15.041066999999999965",
    "0",
    "1e+20",
    "1234567890123456",
    "nan",
  ]);
});

test("numbers are read as the reference library reads them", () => {
  const asked = ["12:30:36", "12,5", "123036", " 7abc", "-0:30", "1e-3", "abc", "", "-5.5"];
  expect(asked.map(readNumber)).toEqual([
    12.51,
    12 + 5 / 60,
    123036,
    7,
    -0.5,
    0.001,
    undefined,
    undefined,
    -5.5,
  ]);
});
