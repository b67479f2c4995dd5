import { describe, expect, test } from "vitest";
import { DeadlineError } from "../../../drivers/kit/errors.ts";
import { onAlpacaRig } from "./alpaca-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("a cover that says for ever that it moves, over %s", (_, onFarRig) => {
  test("is moving for as long as its way takes, and then nobody knows", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      far.coverMovesForEver();
      expect(await cover.state(signal)).toBe("moving");
      await clock.sleep(89);
      expect(await cover.state(signal)).toBe("moving");
      await clock.sleep(2);
      expect(await cover.state(signal)).toBe("unknown");
      expect((await cover.readSettings(signal))[0]).toEqual({ key: "position", value: "unknown" });
    }));

  test("is told to close once its way's time is over, and soon given up when that changes nothing", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      const closes = () => far.sent().filter(({ what }) => what === "close").length;
      far.coverMovesForEver();
      const start = clock.monotonicSeconds();
      await expect(cover.ensureClosed(signal)).rejects.toBeInstanceOf(DeadlineError);
      expect(clock.monotonicSeconds() - start).toBeLessThan(120);
      expect(closes()).toBe(1);
      const again = clock.monotonicSeconds();
      await expect(cover.ensureClosed(signal)).rejects.toBeInstanceOf(DeadlineError);
      expect(clock.monotonicSeconds() - again).toBeLessThan(30);
      expect(closes()).toBe(2);
    }));
});
