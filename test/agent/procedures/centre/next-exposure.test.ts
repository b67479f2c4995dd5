import { expect, test } from "vitest";
import { nextExposureSeconds } from "../../../../agent/procedures/centre/next-exposure.ts";

test("the exposure for looking jumps to the middle of the range over six decades of brightness", () => {
  for (const peakPerSecond of [1e5, 1e7, 1e9]) {
    let exposureSeconds = 1e-4;
    let frames = 0;
    for (;;) {
      frames++;
      const peakAdu = Math.min(60_000, peakPerSecond * exposureSeconds);
      const next = nextExposureSeconds(
        { seen: peakAdu < 20 ? "dark" : "limb", peakAdu, exposureSeconds },
        60_000,
      );
      if (next === exposureSeconds) break;
      exposureSeconds = next;
      expect(frames).toBeLessThan(8);
    }
    const level = (peakPerSecond * exposureSeconds) / 60_000;
    expect(level).toBeGreaterThan(0.2);
    expect(level).toBeLessThan(0.86);
  }
});

test("glow is not exposed as a limb is: the Sun that comes into view must not clip a thousandfold", () => {
  const look = { seen: "glow", peakAdu: 100, exposureSeconds: 0.01 } as const;
  const next = nextExposureSeconds(look, 60_000);
  expect((next / 0.01) * 100).toBeLessThan(6000);
});
