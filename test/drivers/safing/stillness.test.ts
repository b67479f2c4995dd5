import { describe, expect, test } from "vitest";
import type { Equatorial } from "../../../drivers/roles/mount.ts";
import { onAlpacaRig } from "./alpaca-rig.ts";
import type { FarRig } from "./far-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

async function placeNear({ mount, signal }: FarRig, decDegrees: number): Promise<Equatorial> {
  const { pointing } = await mount.state(signal);
  return { ...pointing, decDegrees: pointing.decDegrees + decDegrees };
}

async function secondsOf({ clock }: FarRig, work: () => Promise<unknown>): Promise<number> {
  const start = clock.monotonicSeconds();
  await work();
  return clock.monotonicSeconds() - start;
}

const stillWarnings = (far: FarRig) => far.warnings.filter((text) => text.includes("taken as still"));

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("a mount that says for ever that it moves, over %s", (_, onFarRig) => {
  const onMount = (body: (far: FarRig) => Promise<void>) => onFarRig(body, { mountMovesForEver: true });

  test("slews, arrives and is still, with one warning", () =>
    onMount(async (far) => {
      const { mount, signal } = far;
      const target = await placeNear(far, 20);
      expect(await secondsOf(far, () => mount.slewTo(target, signal))).toBeLessThan(40);
      const state = await mount.state(signal);
      expect(state).toMatchObject({ motion: "still", tracking: true });
      expect(state.pointing.decDegrees).toBeCloseTo(target.decDegrees, 3);
      await mount.slewTo(await placeNear(far, -5), signal);
      expect(stillWarnings(far)).toHaveLength(1);
    }));

  test("is stopped in mid-slew within 10 s, and at once when it rests already", () =>
    onMount(async (far) => {
      const { mount, clock, signal } = far;
      const stop = new AbortController();
      const slewing = mount.slewTo(await placeNear(far, 40), stop.signal).catch(() => {});
      await clock.sleep(2);
      expect(await secondsOf(far, () => mount.ensureStopped(signal))).toBeLessThan(10);
      stop.abort();
      await slewing;
      const { pointing, motion } = await mount.state(signal);
      expect(motion).toBe("still");
      expect(await secondsOf(far, () => mount.ensureStopped(signal))).toBeLessThan(1);
      await clock.sleep(5);
      expect((await mount.state(signal)).pointing.decDegrees).toBeCloseTo(pointing.decDegrees, 3);
    }));

  test("stands still without tracking, though its right ascension runs", () =>
    onMount(async (far) => {
      const { mount, clock, signal } = far;
      await mount.slewTo(await placeNear(far, 5), signal);
      await mount.ensureTrackingOff(signal);
      await clock.sleep(60);
      expect(await secondsOf(far, () => mount.ensureStopped(signal))).toBeLessThan(10);
      expect(await mount.state(signal)).toMatchObject({ motion: "still", tracking: false });
    }));

  test("is put back where it pointed, in seconds and not in minutes", () =>
    onMount(async (far) => {
      const { mount, signal } = far;
      await mount.slewTo(await placeNear(far, 5), signal);
      const before = await mount.readSettings(signal);
      await mount.slewTo(await placeNear(far, 20), signal);
      const restoring = async () => {
        for (const setting of before) await mount.restoreSetting(setting, signal);
      };
      expect(await secondsOf(far, restoring)).toBeLessThan(60);
      for (const now of await mount.readSettings(signal)) {
        const found = before.find(({ key }) => key === now.key);
        expect([now.key, found && mount.sameSetting(found, now)]).toEqual([now.key, true]);
      }
    }));

  test("is believed when its place changes again", () =>
    onMount(async (far) => {
      const { mount, clock, signal } = far;
      await mount.slewTo(await placeNear(far, 5), signal);
      const slewing = mount.slewTo(await placeNear(far, 30), signal);
      await clock.sleep(4);
      expect((await mount.state(signal)).motion).toBe("slewing");
      await slewing;
    }));
});
