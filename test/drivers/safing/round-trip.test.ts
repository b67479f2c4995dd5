import { describe, expect, test } from "vitest";
import { onAlpacaRig } from "./alpaca-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("the round trip over %s", (_, onFarRig) => {
  test("is measured by ordinary reads, the worst of late, and forgotten slowly", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      far.slow(0.2);
      await cover.state(signal);
      expect(cover.roundTripSeconds).toBeCloseTo(0.2, 6);
      far.slow(3);
      await cover.state(signal);
      far.slow(0.2);
      await cover.state(signal);
      expect(cover.roundTripSeconds).toBeGreaterThan(2.5);
      for (let i = 0; i < 12; i++) {
        await clock.sleep(10);
        await cover.state(signal);
      }
      expect(cover.roundTripSeconds).toBeLessThan(0.5);
    }));

  test("is known while an answer is still awaited", () =>
    onFarRig(async (far) => {
      far.slow(4);
      const reading = far.cover.state(far.signal);
      await far.clock.sleep(3);
      expect(far.cover.roundTripSeconds).toBeCloseTo(3, 6);
      await reading;
    }));

  test("lets reads wait longer, within a bound: a device behind a slow link is found alive and read", () =>
    onFarRig(async (far) => {
      const { cover, signal, clock } = far;
      far.slow(12);
      for (let i = 0; i < 3; i++) await cover.isAlive(signal); // finds out how slow it is
      expect(await cover.isAlive(signal)).toBe(true);
      expect(await cover.state(signal)).toBe("open");
      await clock.sleep(60);
      far.slow(600);
      for (let i = 0; i < 3; i++) {
        const start = clock.monotonicSeconds();
        expect(await cover.isAlive(signal)).toBe(false);
        expect(clock.monotonicSeconds() - start).toBeLessThanOrEqual(30);
      }
    }));
});
