import { describe, expect, test } from "vitest";
import { OutOfLimitsError } from "../../../drivers/kit/errors.ts";
import type { Device } from "../../../drivers/roles/device.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { type Adapter, calm, changedSettings, type RigUnderTest, restoreAll } from "./rig-under-test.ts";

/** Focuser, wheel, rotator, covers, dome and weather: whichever of them the adapter's rig has. */
export function moversConformance(adapter: Adapter, roles: readonly (keyof Rig)[]): void {
  const { drive, timeoutMs } = adapter;
  const signal = calm();

  function withRole<R extends keyof Rig>(
    role: R,
    name: string,
    work: (device: NonNullable<Rig[R]>, rigUnderTest: RigUnderTest) => Promise<void>,
  ): void {
    if (!roles.includes(role)) return;
    test(
      `${role}: ${name}`,
      () =>
        drive(async (rigUnderTest) => {
          const device = rigUnderTest.rig[role];
          if (!device) throw new Error(`this adapter's rig has no ${role}`);
          await work(device, rigUnderTest);
        }),
      timeoutMs,
    );
  }

  async function putBack(
    device: Device,
    { remember, isConnected }: RigUnderTest,
    change: () => Promise<void>,
  ): Promise<void> {
    const checkTruth = await remember();
    const before = await device.readSettings(signal);
    await change();
    expect((await changedSettings(device, before, signal)).length).toBeGreaterThan(0);
    await restoreAll(device, before, { isConnected, checkTruth }, signal);
  }

  describe(`moving parts over ${adapter.name}`, () => {
    withRole("focuser", "moves exactly, and is put back exactly", async (focuser, rut) => {
      const { min, max } = focuser.limits.positionSteps;
      await putBack(focuser, rut, async () => {
        const from = await focuser.positionSteps(signal);
        const to = from + 1234 <= max ? from + 1234 : from - 1234;
        await focuser.moveTo(to, signal);
        expect(await focuser.positionSteps(signal)).toBe(to);
      });
      for (const wrong of [min - 1, max + 1, Number.NaN]) {
        await expect(focuser.moveTo(wrong, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
      }
      await focuser.ensureStopped(signal);
    });

    withRole("wheel", "turns to a slot and back", async (wheel, rut) => {
      const slotCount = wheel.slotNames.length; // a wheel that is left unconnected again shows none
      await putBack(wheel, rut, async () => {
        const to = (await wheel.slot(signal)) === 2 ? 3 : 2;
        await wheel.moveTo(to, signal);
        expect(await wheel.slot(signal)).toBe(to);
      });
      await expect(wheel.moveTo(slotCount + 1, signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    });

    withRole("rotator", "turns, and back", async (rotator, rut) => {
      await putBack(rotator, rut, async () => {
        const to = ((await rotator.angleDegrees(signal)) + 25) % 360;
        await rotator.moveTo(to, signal);
        expect(Math.abs((await rotator.angleDegrees(signal)) - to)).toBeLessThan(0.5);
      });
    });

    for (const role of ["cover", "diffuser"] as const) {
      withRole(role, "closes, opens, says so, and is put back", async (cover, rut) => {
        await cover.ensureClosed(signal);
        expect(await cover.state(signal)).toBe("closed");
        await cover.ensureClosed(signal);
        await putBack(cover, rut, async () => {
          const opening = cover.ensureOpen(signal);
          await rut.clock.sleep(0.3, signal);
          expect(["moving", "open"]).toContain(await cover.state(signal));
          await opening;
          expect(await cover.state(signal)).toBe("open");
        });
      });
    }

    withRole("dome", "opens, turns, and is put back", async (dome, rut) => {
      await dome.ensureUnparked(signal);
      if (dome.abilities.shutter) await dome.ensureShutterClosed(signal);
      await putBack(dome, rut, async () => {
        if (dome.abilities.shutter) {
          await dome.ensureShutterOpen(signal);
          expect((await dome.state(signal)).shutter).toBe("open");
        }
        if (dome.abilities.azimuth) {
          await dome.turnTo(33, signal);
          expect(Math.abs(((await dome.state(signal)).azimuthDegrees ?? 999) - 33)).toBeLessThan(1.1);
        }
        expect((await dome.state(signal)).moving).toBe(false);
      });
    });

    withRole("weather", "reports fresh readings and a judgement", async (weather) => {
      const state = await weather.state(signal);
      expect(["safe", "warning", "unsafe", "unknown"]).toContain(state.safety);
      expect(Object.values(state.readings).every(Number.isFinite)).toBe(true);
      expect(state.safety === "safe" ? state.reasons : ["told"]).toHaveLength(
        state.safety === "safe" ? 0 : 1,
      );
    });
  });
}
