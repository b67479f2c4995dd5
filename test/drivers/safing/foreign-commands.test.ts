import { describe, expect, test } from "vitest";
import { OwnCommands } from "../../../drivers/indi/session/own-commands.ts";
import { onAlpacaRig } from "./alpaca-rig.ts";
import type { FarRig } from "./far-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

/** Looked at as the guard does. */
async function watch({ cover, mount, clock, signal }: FarRig, seconds: number): Promise<void> {
  for (let passed = 0; passed < seconds; passed += 2) {
    await cover.state(signal);
    await mount.state(signal);
    await clock.sleep(2);
  }
}

const noted = ({ cover, mount, camera }: FarRig) =>
  [cover, mount, camera].map(({ foreignCommands }) => foreignCommands.count);

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("commands from elsewhere over %s", (_, onFarRig) => {
  test("a cover that somebody else opens is noted, with what and when, and nothing else is", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      await cover.ensureClosed(signal);
      await watch(far, 4);
      const atUtcMs = clock.nowMs();
      far.openCoverFromElsewhere();
      await watch(far, 10);
      expect(noted(far)[0]).toBeGreaterThan(0);
      expect(noted(far).slice(1)).toEqual([0, 0]);
      expect(cover.foreignCommands.last!.what).toMatch(
        /another client of .* commanded CAP_PARK|was closed and is/,
      );
      expect(cover.foreignCommands.last!.atUtcMs - atUtcMs).toBeLessThan(10_000);
    }));

  test("a mount that somebody else sends off is noted", () =>
    onFarRig(async (far) => {
      await watch(far, 20);
      far.slewFromElsewhere();
      await watch(far, 10);
      expect(noted(far)).toEqual([0, 1, 0]);
      expect(far.mount.foreignCommands.last!.what).toMatch(/EQUATORIAL_EOD_COORD|it slews from/);
    }));

  test("our own commands, whatever becomes of them, and what devices tell by themselves are not noted", () =>
    onFarRig(async (far) => {
      const { cover, mount, camera, clock, signal } = far;
      let isOver = false;
      const watching = (async () => {
        while (!isOver) await watch(far, 2);
      })();
      await cover.ensureClosed(signal);
      await cover.ensureOpen(signal);
      const opening = cover.ensureClosed(signal);
      await clock.sleep(1);
      await cover.sendClose(signal);
      await opening;
      const { pointing } = await mount.state(signal);
      await mount.slewTo({ ...pointing, decDegrees: pointing.decDegrees + 10 }, signal);
      await mount.ensureTracking("solar", signal);
      await mount.nudge({ eastArcsec: 30, northArcsec: 20 }, signal);
      const stop = new AbortController();
      const slewing = mount.slewTo(pointing, stop.signal).catch(() => {});
      await clock.sleep(1);
      await mount.sendStop(signal);
      await slewing;
      await mount.ensureTrackingOff(signal);
      await clock.sleep(60);
      if (mount.abilities.park) await mount.ensureParked(signal);
      await camera.expose({ exposureSeconds: 1, frameType: "light" }, signal);
      const exposing = camera.expose({ exposureSeconds: 30, frameType: "light" }, signal).catch(() => {});
      await clock.sleep(2);
      await camera.sendStop(signal);
      await exposing;
      await camera.ensureStopped(signal);
      await clock.sleep(30);
      isOver = true;
      await watching;
      expect(noted(far)).toEqual([0, 0, 0]);
    }));

  test("a mount that says for ever that it moves is not taken for somebody else's", () =>
    onFarRig(
      async (far) => {
        const { mount, clock, signal } = far;
        const { pointing } = await mount.state(signal);
        await mount.slewTo({ ...pointing, decDegrees: pointing.decDegrees + 10 }, signal);
        await mount.ensureTrackingOff(signal);
        await clock.sleep(60);
        for (let i = 0; i < 10; i++) {
          await clock.sleep(30);
          await mount.state(signal);
        }
        expect(noted(far)).toEqual([0, 0, 0]);
      },
      { mountMovesForEver: true },
    ));
});

test("INDI: what we sent just before the link broke comes back over the next one, and is ours", () => {
  const own = new OwnCommands({ monotonicSeconds: () => seconds });
  let seconds = 100;
  own.sent("CAP_PARK", { PARK: true, UNPARK: false }, 0);
  own.sent("CCD_GAIN", { GAIN: 0.1 }, 0);
  const closing = { PARK: "On", UNPARK: "Off" };
  expect(own.isEcho("CAP_PARK", closing, 0)).toBe(false); // over the same link it can't be ours
  expect(own.isEcho("CAP_PARK", closing, 1)).toBe(true);
  expect(own.isEcho("CAP_PARK", { PARK: "Off", UNPARK: "On" }, 1)).toBe(false);
  expect(own.isEcho("CCD_GAIN", { GAIN: "0.10000000" }, 1)).toBe(true);
  expect(own.isEcho("CCD_OFFSET", { OFFSET: "1" }, 1)).toBe(false);
  seconds = 200;
  expect(own.isEcho("CAP_PARK", closing, 1)).toBe(false);
});
