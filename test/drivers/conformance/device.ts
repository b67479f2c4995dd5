import { describe, expect, test } from "vitest";
import type { Device, Setting } from "../../../drivers/roles/device.ts";
import { connectionKey } from "../../../drivers/roles/kept-settings.ts";
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
            await device.readSettings(signal); // the first tells the connection as it was found
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
        drive(async ({ rig, remember, isConnected }) => {
          const checkTruth = await remember();
          const found = new Map<Device, readonly Setting[]>();
          for (const device of devicesOf(rig)) found.set(device, await device.readSettings(signal));
          const all = [...found].flatMap(([device, settings]) => settings.map((one) => ({ device, one })));
          for (const { device, one } of all)
            if (one.key !== connectionKey) await device.restoreSetting(one, signal);
          await checkTruth();
          const truth = { isConnected, checkTruth: async () => {} };
          for (const [device, settings] of found) await restoreAll(device, settings, truth, signal);
        }),
      timeoutMs,
    );

    test(
      "tells its connection first as it was found and then as it is, and is left as it was found",
      () =>
        drive(async ({ rig, isConnected }) => {
          for (const device of devicesOf(rig)) {
            const found = await device.readSettings(signal);
            const connection = found.find(({ key }) => key === connectionKey);
            if (!connection) continue; // another role of the same device answers for it
            expect([device.role, await isConnected(device.name)]).toEqual([device.role, true]);
            const now = await device.readSettings(signal);
            expect([device.role, now.at(-1)]).toEqual([device.role, { key: connectionKey, value: true }]);
            await device.restoreSetting(connection, signal);
            const left = [await isConnected(device.name), (await device.readSettings(signal)).at(-1)?.value];
            expect([device.role, ...left]).toEqual([device.role, connection.value, connection.value]);
            expect(await changedSettings(device, [connection], signal)).toEqual([]);
          }
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
