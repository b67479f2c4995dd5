import { expect, test } from "vitest";
import { judgeSheet } from "../../../../agent/imaging/light/clear-sheet.ts";
import { adviseSheet, describeSheet } from "../../../../agent/procedures/flat/by-diffuser/check-sheet.ts";
import { lightScene } from "./light-scene.ts";

const seed = 20261208;
const errorMost = 0.005;

/** One frame through a sheet and one without. */
function sheetOf(share: number, radiusHeights: number) {
  const { input, error } = lightScene({
    ...{ seed, shape: { widthPx: 160, heightPx: 120 }, radiusHeights, looks: 1 },
    error: (_, __, sun) => Math.log(1 + share * sun),
  });
  const { shape, flat, looks, disc } = input;
  const mean = error.reduce((sum, one) => sum + one, 0) / error.length;
  const truth = Math.max(...error.map((one) => Math.abs(one - mean)));
  return {
    sheet: judgeSheet({ shape, throughAdu: flat.gain, plainAdu: looks[0]!, disc: disc!, errorMost })!,
    truth,
  };
}

test("a whole disc: two percent through the sheet are surely too much, with what would help; a thousandth is not", () => {
  const { sheet, truth } = sheetOf(0.02, 0.42);
  expect(sheet.error - 3 * sheet.errorSigma, `seed ${seed}`).toBeGreaterThan(errorMost);
  expect(sheet.error / truth).toBeGreaterThan(0.8);
  expect(sheet.error / truth).toBeLessThan(1.2);
  expect(describeSheet(sheet)).toMatch(/lets (1\.[89]|2|2\.[1-4]) % .* through clear/);
  expect(adviseSheet(sheet, 2)).toMatch(
    /heavier sheet.*two layers.*focal length 2\.0 times.*may still be used/,
  );
  const even = sheetOf(0.001, 0.42).sheet;
  expect(even.error - 3 * even.errorSigma).toBeLessThan(errorMost);
});

test("a field that the disc fills may use a clearer sheet than a whole disc", () => {
  const whole = sheetOf(0.01, 0.42).sheet;
  const narrow = sheetOf(0.01, 3.1).sheet;
  expect(whole.error - 3 * whole.errorSigma, `seed ${seed}`).toBeGreaterThan(errorMost);
  expect(narrow.error - 3 * narrow.errorSigma).toBeLessThan(errorMost);
  expect(narrow.shareMost).toBeGreaterThan(1.5 * whole.shareMost);
  expect(whole.shareMostOnDisc! / narrow.shareMost).toBeGreaterThan(0.4);
});
