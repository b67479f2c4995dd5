import { expect, test } from "vitest";
import { checkFilterStillOn } from "../../../agent/procedures/lost-filter.ts";
import { StepError } from "../../../agent/procedures/step-error.ts";

const frame = (levels: readonly number[]) => ({
  pixelsAdu: Uint16Array.from(levels),
  widthPx: levels.length,
  heightPx: 1,
  exposureSeconds: 0.3,
  startedUtcMs: 0,
  frameType: "flat" as const,
});

test("an evenly lit frame, a dark one and one with a few clipped pixels are fine", () => {
  expect(() => checkFilterStillOn(frame(Array(100).fill(3400)), 4095)).not.toThrow();
  expect(() => checkFilterStillOn(frame(Array(100).fill(40)), 4095)).not.toThrow();
  expect(() =>
    checkFilterStillOn(frame([...Array(90).fill(3400), ...Array(10).fill(4095)]), 4095),
  ).not.toThrow();
});

test("most of what is lit clips, be it all of the frame or a small disc: not safe to look", () => {
  for (const levels of [Array(100).fill(4095), [...Array(95).fill(60), ...Array(5).fill(4095)]]) {
    try {
      checkFilterStillOn(frame(levels), 4095);
      expect.unreachable();
    } catch (error) {
      expect(error).toMatchObject({ code: "FAR_TOO_BRIGHT", unsafe: "brightness" });
      expect(error).toBeInstanceOf(StepError);
    }
  }
});
