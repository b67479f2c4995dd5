import { describe, expect, test } from "vitest";
import { devicesOf } from "../../../drivers/roles/rig.ts";
import { type Adapter, calm, changedSettings, restoreAll } from "./rig-under-test.ts";

/** What every role owes, whatever it drives. */
export function deviceConformance(adapter: Adapter): void {
  const { drive, timeoutMs } = adapter;
  const signal = calm();
  describe(`every device over ${adapter.name}`, () => {
    test(
      "is alive, has a name and describes itself",
      () =>
        drive(async ({ rig }) => {
          for (const device of devicesOf(rig)) {
            expect(await device.isAlive(signal)).toBe(true);
            expect(device.name).not.toBe("");
            for (const [ability, words] of Object.entries(device.describe()))
              expect([ability, typeof words]).toEqual([ability, "string"]);
          }
        }),
      timeoutMs,
    );

    test(
      "settings survive JSON, have keys of their own, and read the same twice",
      () =>
        drive(async ({ rig }) => {
          for (const device of devicesOf(rig)) {
            const settings = await device.readSettings(signal);
            expect(JSON.parse(JSON.stringify(settings))).toEqual(settings);
            expect(new Set(settings.map(({ key }) => key)).size).toBe(settings.length);
            expect([device.role, await changedSettings(device, settings, signal)]).toEqual([device.role, []]);
          }
        }),
      timeoutMs,
    );

    test(
      "putting back what was never changed changes nothing",
      () =>
        drive(async ({ rig, remember }) => {
          const checkTruth = await remember();
          for (const device of devicesOf(rig)) {
            const settings = await device.readSettings(signal);
            await restoreAll(
              device,
              settings.filter(({ key }) => key !== "connected"),
              signal,
            );
          }
          await checkTruth();
        }),
      timeoutMs,
    );

    test(
      "a signal that is already aborted does nothing and gives its reason",
      () =>
        drive(async ({ rig, remember }) => {
          const checkTruth = await remember();
          const reason = new Error("no");
          for (const device of devicesOf(rig)) {
            await expect(device.readSettings(AbortSignal.abort(reason))).rejects.toBe(reason);
          }
          await checkTruth();
        }),
      timeoutMs,
    );
  });
}
