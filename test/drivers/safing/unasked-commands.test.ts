import { describe, expect, test } from "vitest";
import { DeviceLostError, MissingAbilityError, OverruledError } from "../../../drivers/kit/errors.ts";
import { onAlpacaRig } from "./alpaca-rig.ts";
import type { FarRig } from "./far-rig.ts";
import { onIndiRig } from "./indi-rig.ts";

/** What arrives at the same moment as it is sent; answers may take as long as they like. */
async function arrivingAtOnce({ sent, clock }: FarRig, send: () => Promise<void>): Promise<string[]> {
  const before = sent().length;
  const sending = send();
  await clock.sleep(0.001);
  const arrived = sent()
    .slice(before)
    .map(({ what }) => what);
  await sending;
  return arrived;
}

const whatCame = (far: FarRig) => far.sent().map(({ what }) => what);

describe.each([
  ["INDI", onIndiRig],
  ["Alpaca", onAlpacaRig],
] as const)("commands for safety's sake over %s", (_, onFarRig) => {
  test("over a link that answers after 6 s, with a read of each under way: on the wire at once, unasked", () =>
    onFarRig(async (far) => {
      const { cover, mount, camera, signal } = far;
      far.slow(6);
      const reads = Promise.allSettled([
        cover.state(signal),
        mount.state(signal),
        camera.ensureStopped(signal),
      ]);
      expect(await arrivingAtOnce(far, () => cover.sendClose(signal))).toEqual(["close"]);
      expect(await arrivingAtOnce(far, () => mount.sendStop(signal))).toEqual(["stop mount"]);
      expect(await arrivingAtOnce(far, () => mount.sendTrackingOff(signal))).toEqual(["tracking off"]);
      expect(await arrivingAtOnce(far, () => camera.sendStop(signal))).toEqual(["stop camera"]);
      await reads;
    }));

  test("a cover that says it moves for ever is told to close all the same, as often as asked", () =>
    onFarRig(async (far) => {
      far.coverMovesForEver();
      for (let i = 0; i < 3; i++)
        expect(await arrivingAtOnce(far, () => far.cover.sendClose(far.signal))).toEqual(["close"]);
    }));

  test("closed, still and idle already: the commands go out and change nothing", () =>
    onFarRig(async (far) => {
      const { cover, mount, camera, signal } = far;
      await cover.ensureClosed(signal);
      await mount.ensureTrackingOff(signal);
      const before = whatCame(far).length;
      await cover.sendClose(signal);
      await mount.sendStop(signal);
      await mount.sendTrackingOff(signal);
      await camera.sendStop(signal);
      expect(whatCame(far).slice(before)).toEqual(["close", "stop mount", "tracking off", "stop camera"]);
      await cover.ensureClosed(signal);
      expect(await cover.state(signal)).toBe("closed");
      const frame = await camera.expose({ exposureSeconds: 0.5, frameType: "light" }, signal);
      expect(frame.exposureSeconds).toBe(0.5);
    }));

  test("a parked mount takes them without a word", () =>
    onFarRig(async ({ mount, signal }) => {
      await mount.ensureParked(signal);
      await mount.sendStop(signal);
      await mount.sendTrackingOff(signal);
      expect(await mount.state(signal)).toMatchObject({ parked: true, motion: "still" });
    }));

  test("an opening under way is given up: nothing opens after the close", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      await cover.ensureClosed(signal);
      const opening = cover.ensureOpen(signal);
      const ended = expect(opening).rejects.toBeInstanceOf(OverruledError);
      await clock.sleep(2);
      await cover.sendClose(signal);
      await ended;
      await clock.sleep(60);
      expect(whatCame(far).lastIndexOf("open")).toBeLessThan(whatCame(far).lastIndexOf("close"));
    }));

  test("an opening that waits for the cover's rest is never sent", () =>
    onFarRig(async (far) => {
      const { cover, clock, signal } = far;
      const closing = cover.ensureClosed(signal);
      await clock.sleep(1);
      const opening = expect(cover.ensureOpen(signal)).rejects.toBeInstanceOf(OverruledError);
      await clock.sleep(1);
      await cover.sendClose(signal);
      await Promise.all([opening, closing]);
      await clock.sleep(60);
      expect(whatCame(far)).not.toContain("open");
      expect(await cover.state(signal)).toBe("closed");
    }));

  test("a slew under way is given up, and nothing sets tracking on afterwards", () =>
    onFarRig(async (far) => {
      const { mount, clock, signal } = far;
      const { pointing } = await mount.state(signal);
      const slewing = mount.slewTo({ ...pointing, decDegrees: pointing.decDegrees + 40 }, signal);
      const ended = expect(slewing).rejects.toBeInstanceOf(OverruledError);
      await clock.sleep(3);
      await mount.sendStop(signal);
      await mount.sendTrackingOff(signal);
      await ended;
      await clock.sleep(60);
      const came = whatCame(far);
      expect(came.lastIndexOf("tracking on")).toBeLessThan(came.lastIndexOf("tracking off"));
      expect(came.lastIndexOf("slew")).toBeLessThan(came.indexOf("stop mount"));
    }));

  test("an exposure under way is given up and not taken once more", () =>
    onFarRig(async (far) => {
      const { camera, clock, signal } = far;
      const exposing = camera.expose({ exposureSeconds: 30, frameType: "light" }, signal);
      const ended = expect(exposing).rejects.toBeInstanceOf(OverruledError);
      await clock.sleep(3);
      await camera.sendStop(signal);
      await ended;
      await clock.sleep(60);
      expect(whatCame(far).filter((what) => what === "expose")).toHaveLength(1);
    }));

  test("what the device can't is refused at once", () =>
    onFarRig(
      async ({ mount, camera, signal, clock }) => {
        const startMs = clock.nowMs();
        for (const send of [
          () => mount.sendStop(signal),
          () => mount.sendTrackingOff(signal),
          () => camera.sendStop(signal),
        ]) {
          await expect(send()).rejects.toBeInstanceOf(MissingAbilityError);
        }
        expect(clock.nowMs()).toBe(startMs);
      },
      { poor: true },
    ));

  test("a link that is gone is told at once", () =>
    onFarRig(async (far) => {
      const { cover, mount, camera, signal, clock } = far;
      far.cut();
      await clock.sleep(0.001);
      const startMs = clock.nowMs();
      for (const send of [
        () => cover.sendClose(signal),
        () => mount.sendStop(signal),
        () => mount.sendTrackingOff(signal),
        () => camera.sendStop(signal),
      ]) {
        await expect(send()).rejects.toBeInstanceOf(DeviceLostError);
      }
      expect(clock.nowMs()).toBe(startMs);
    }));

  test("a device that is being connected again is told as soon as the link is there", () =>
    onFarRig(async (far) => {
      const { cover, signal, clock } = far;
      far.cut(4);
      await clock.sleep(0.001);
      const reading = cover.state(signal);
      await clock.sleep(0.5);
      await cover.sendClose(signal);
      expect(whatCame(far)).toContain("close");
      await reading;
    }));
});
