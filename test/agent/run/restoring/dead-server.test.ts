import { expect, test } from "vitest";
import { restoreSettingOf } from "../../../../agent/run/restoring/restore-setting.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { onAlpacaRig } from "../../../drivers/safing/alpaca-rig.ts";
import { onIndiRig } from "../../../drivers/safing/indi-rig.ts";

test.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)(
  "putting back over a server that is gone for good (%s): told of every setting within a minute or so",
  (_, onFarRig) =>
    onFarRig(async (far) => {
      const { cover, mount, camera, clock, signal } = far;
      const found = [];
      for (const device of [camera, mount, cover])
        for (const setting of await device.readSettings(signal)) found.push({ device, setting });
      expect(found.length).toBeGreaterThan(10);
      far.cut();
      const start = clock.monotonicSeconds();
      for (const { device, setting } of found) {
        const entry = { role: device.role, device: device.name, setting };
        const record = await restoreSettingOf(device, entry, { clock, log: silentLog, signal });
        expect(record).toMatchObject({ state: "different", why: expect.stringContaining(device.name) });
      }
      expect(clock.monotonicSeconds() - start).toBeLessThan(75);
    }),
);
