import { describe, expect, test } from "vitest";
import { UnreachableError } from "../../../drivers/kit/errors.ts";
import { onAlpacaRig } from "./alpaca-rig.ts";
import type { FarRig } from "./far-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

const work = ({ cover, mount, camera, signal }: FarRig) => [
  () => mount.readSettings(signal),
  () => cover.ensureClosed(signal),
  () => mount.ensureStopped(signal),
  () => camera.ensureStopped(signal),
  () => cover.state(signal),
  () => cover.sendClose(signal),
  () => camera.readSettings(signal),
];

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("a server that is gone, over %s", (_, onFarRig) => {
  test("is waited for once by all of its devices together", () =>
    onFarRig(async (far) => {
      const { clock } = far;
      far.cut();
      await clock.sleep(0.001);
      const start = clock.monotonicSeconds();
      for (let round = 0; round < 3; round++)
        for (const one of work(far)) await expect(one()).rejects.toMatchObject({ code: "RIG_DEVICE_LOST" });
      expect(clock.monotonicSeconds() - start).toBeLessThan(62);
    }));

  test("is told at once from then on, with why and when it is tried again", () =>
    onFarRig(async (far) => {
      const { clock, cover, signal } = far;
      far.cut();
      await clock.sleep(0.001);
      await expect(cover.state(signal)).rejects.toThrow();
      await clock.sleep(60);
      const start = clock.monotonicSeconds();
      for (const one of work(far)) {
        const error = await one().catch((thrown: unknown) => thrown);
        expect(String(error)).toMatch(/out of reach for \d+ s \(.*\); tried again in \d s|lost/);
      }
      expect(await far.mount.isAlive(signal)).toBe(false);
      expect(clock.monotonicSeconds()).toBe(start);
      await expect(cover.state(signal)).rejects.toBeInstanceOf(UnreachableError);
    }));

  test("wakes all who wait for it when it is back", () =>
    onFarRig(async (far) => {
      const { clock, cover, mount, signal } = far;
      far.cut(10);
      await clock.sleep(0.001);
      const start = clock.monotonicSeconds();
      expect(
        await Promise.all([cover.state(signal), mount.state(signal), mount.readSettings(signal)]),
      ).toEqual(["open", expect.objectContaining({ motion: "still" }), expect.any(Array)]);
      expect(clock.monotonicSeconds() - start).toBeLessThan(20);
    }));

  test("is used again soon after its return, however long it was gone", () =>
    onFarRig(async (far) => {
      const { clock, cover, signal } = far;
      far.cut(600);
      await clock.sleep(0.001);
      await expect(cover.state(signal)).rejects.toThrow();
      await clock.sleep(600 - 60);
      for (let waited = 0; waited < 10; waited++) {
        await clock.sleep(1);
        const closed = await cover.sendClose(signal).then(
          () => true,
          () => false,
        );
        if (!closed) continue;
        await cover.ensureClosed(signal);
        return;
      }
      throw new Error("not told to close within 10 s of the server's return");
    }));
});
