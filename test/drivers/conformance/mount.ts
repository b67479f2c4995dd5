import { describe, expect, test } from "vitest";
import type { Clock } from "../../../drivers/kit/clock.ts";
import type { Equatorial, Mount } from "../../../drivers/roles/mount.ts";
import { type Adapter, calm, type RigUnderTest, restoreAll } from "./rig-under-test.ts";

/** [arcsec], flat sky. */
function apart(a: Equatorial, b: Equatorial): { east: number; north: number } {
  const hours = ((((b.raHours - a.raHours + 12) % 24) + 24) % 24) - 12;
  return {
    east: hours * 54_000 * Math.cos((a.decDegrees * Math.PI) / 180),
    north: (b.decDegrees - a.decDegrees) * 3600,
  };
}

/** @param target a place that the mount can reach at the test's time, near where it starts */
export function mountConformance(
  adapter: Adapter,
  target: (mount: Mount, clock: Clock) => Promise<Equatorial>,
): void {
  const { drive, timeoutMs } = adapter;
  const signal = calm();
  const onMount = (work: (mount: Mount, rigUnderTest: RigUnderTest) => Promise<void>) => () =>
    drive(async (rigUnderTest) => {
      const { mount } = rigUnderTest.rig;
      if (!mount) throw new Error("this adapter's rig has no mount");
      await work(mount, rigUnderTest);
    });

  describe(`mount over ${adapter.name}`, () => {
    test(
      "slews, arrives within its tolerance, tracks and is still",
      onMount(async (mount, { clock }) => {
        const place = await target(mount, clock);
        await mount.ensureUnparked(signal);
        await mount.slewTo(place, signal);
        const state = await mount.state(signal);
        expect(state).toMatchObject({ motion: "still", tracking: true, parked: false });
        const { east, north } = apart(place, state.pointing);
        expect(Math.hypot(east, north)).toBeLessThan(300);
      }),
      timeoutMs,
    );

    test(
      "tracks at solar rate by its own account, and stops tracking",
      onMount(async (mount, { clock }) => {
        await mount.ensureUnparked(signal);
        await mount.slewTo(await target(mount, clock), signal);
        await mount.ensureTracking("solar", signal);
        expect(await mount.state(signal)).toMatchObject({ tracking: true, trackRate: "solar" });
        await mount.ensureTrackingOff(signal);
        expect(await mount.state(signal)).toMatchObject({ tracking: false });
      }),
      timeoutMs,
    );

    for (const by of [
      { eastArcsec: 40, northArcsec: 0 },
      { eastArcsec: 0, northArcsec: -30 },
      { eastArcsec: -600, northArcsec: 400 },
    ]) {
      test(
        `nudges by ${by.eastArcsec}, ${by.northArcsec} arcsec by its own coordinates, and tracks on`,
        onMount(async (mount, { clock }) => {
          await mount.ensureUnparked(signal);
          await mount.slewTo(await target(mount, clock), signal);
          await mount.ensureTracking("solar", signal);
          const before = (await mount.state(signal)).pointing;
          await mount.nudge(by, signal);
          const state = await mount.state(signal);
          const { east, north } = apart(before, state.pointing);
          const tolerance = 4 + 0.03 * Math.hypot(by.eastArcsec, by.northArcsec);
          expect(Math.abs(east - by.eastArcsec)).toBeLessThan(tolerance);
          expect(Math.abs(north - by.northArcsec)).toBeLessThan(tolerance);
          expect(state).toMatchObject({ motion: "still", tracking: true, trackRate: "solar" });
        }),
        timeoutMs,
      );
    }

    test(
      "an abort in mid-slew leaves it still and short of the target",
      onMount(async (mount, { clock }) => {
        await mount.ensureUnparked(signal);
        const place = await target(mount, clock);
        await mount.slewTo(place, signal);
        const far = { ...place, decDegrees: place.decDegrees + (place.decDegrees < 40 ? 45 : -45) };
        const stop = new AbortController();
        clock.setTimer(2, () => stop.abort(new Error("stop")));
        await expect(mount.slewTo(far, stop.signal)).rejects.toThrow("stop");
        const first = await mount.state(signal);
        expect(first.motion).toBe("still");
        await clock.sleep(2, signal);
        const second = await mount.state(signal);
        expect(Math.abs(apart(first.pointing, second.pointing).north)).toBeLessThan(5);
        expect(Math.abs(apart(second.pointing, far).north)).toBeGreaterThan(3600);
      }),
      timeoutMs,
    );

    test(
      "refuses to move while parked",
      onMount(async (mount, { clock }) => {
        if (!mount.abilities.park) return;
        const place = await target(mount, clock);
        await mount.ensureParked(signal);
        const { pointing } = await mount.state(signal);
        await expect(mount.slewTo(place, signal)).rejects.toMatchObject({ code: "RIG_REFUSED" });
        await expect(mount.nudge({ eastArcsec: 30, northArcsec: 0 }, signal)).rejects.toMatchObject({
          code: "RIG_REFUSED",
        });
        const state = await mount.state(signal);
        expect(state.parked).toBe(true);
        expect(Math.abs(apart(pointing, state.pointing).north)).toBeLessThan(5);
      }),
      timeoutMs,
    );

    test(
      "a mount that refuses to track is told as such, by its own account",
      onMount(async (mount, { clock, mountFaults }) => {
        if (!mountFaults) return;
        await mount.ensureUnparked(signal);
        await mount.slewTo(await target(mount, clock), signal);
        await mount.ensureTrackingOff(signal);
        mountFaults.refuseTracking();
        await expect(mount.ensureTracking("solar", signal)).rejects.toMatchObject({ code: "RIG_READBACK" });
        expect(await mount.state(signal)).toMatchObject({ tracking: false });
      }),
      timeoutMs,
    );

    test(
      "a slew that ends elsewhere has not arrived, whatever the mount says of it",
      onMount(async (mount, { clock, mountFaults }) => {
        if (!mountFaults) return;
        await mount.ensureUnparked(signal);
        mountFaults.endNextSlewOff(2);
        const place = await target(mount, clock);
        await expect(mount.slewTo(place, signal)).rejects.toMatchObject({ code: "RIG_READBACK" });
        expect(await mount.state(signal)).toMatchObject({ motion: "still" });
      }),
      timeoutMs,
    );

    for (const start of ["as found", "standing", "tracking"] as const) {
      test(
        `is put back: ${start}`,
        onMount(async (mount, { remember, isConnected, clock }) => {
          const place = await target(mount, clock);
          if (start !== "as found") {
            await mount.ensureUnparked(signal);
            await mount.slewTo({ raHours: place.raHours, decDegrees: place.decDegrees * 0.9 }, signal);
            if (start === "standing") await mount.ensureTrackingOff(signal);
            else await mount.ensureTracking("sidereal", signal);
          }
          const checkTruth = await remember();
          const before = await mount.readSettings(signal);
          await mount.ensureUnparked(signal);
          await mount.slewTo(place, signal);
          await mount.ensureTracking("solar", signal);
          await mount.nudge({ eastArcsec: 30, northArcsec: 20 }, signal);
          await restoreAll(mount, before, { isConnected, checkTruth }, signal);
        }),
        timeoutMs,
      );
    }
  });
}
