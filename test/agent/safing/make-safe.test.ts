import { beforeEach, expect, test } from "vitest";
import { type Front, newFront } from "../../../agent/safing/front.ts";
import { makeSafe, type SafingGoal } from "../../../agent/safing/make-safe.ts";
import { separationDegrees } from "../../../agent/sky/separation.ts";
import { sunFromSite } from "../../../agent/sky/sun-from-site.ts";
import { ReadbackError } from "../../../drivers/kit/errors.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import type { Rig } from "../../../drivers/roles/rig.ts";
import { FakeRig } from "../run/fake-rig.ts";
import { forenoonUtcMs } from "../run/fake-run.ts";

const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };
let clock: VirtualClock;
let rig: FakeRig;
const warnings: string[] = [];

/** Open on the Sun, following it. */
beforeEach(() => {
  clock = new VirtualClock(forenoonUtcMs);
  rig = new FakeRig(clock);
  warnings.length = 0;
  rig.truth.get("cover")!.set("position", "open");
  const sun = sunFromSite(forenoonUtcMs, site);
  rig.truth.get("mount")!.set("parked", false).set("tracking", true);
  rig.truth.get("mount")!.set("pointing", [sun.raHours, sun.decDegrees]);
});

const make = (goal: SafingGoal["goal"], devices: Rig = rig.open(), known: Partial<Front> = {}) =>
  clock.drive(
    makeSafe(
      {
        rig: devices,
        site,
        clock,
        log: silentLog,
        front: { ...newFront(), ...known },
        findings: { lightRate: {} },
      },
      { goal, signal: neverAborted, warn: (text) => warnings.push(text) },
    ),
  );

function offSunDegrees(): number {
  const [raHours, decDegrees] = rig.get("mount", "pointing") as readonly [number, number];
  return separationDegrees({ raHours, decDegrees }, sunFromSite(clock.nowMs(), site));
}

test("covered and off the Sun: both, side by side", async () => {
  const startedSeconds = clock.monotonicSeconds();
  const safety = await make("covered and off the Sun");
  expect(safety).toMatchObject({
    covered: { proved: true, by: "the cover's report" },
    offSun: true,
    failed: [],
  });
  expect([rig.get("cover", "position"), rig.get("mount", "tracking")]).toEqual(["closed", false]);
  expect(offSunDegrees()).toBeGreaterThan(29);
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(30); // the slew's 20 s, not its and the cover's
});

test("covered is enough where that is all: the mount stays and follows the Sun", async () => {
  const safety = await make("covered");
  expect(safety.covered.proved).toBe(true);
  expect(offSunDegrees()).toBeLessThan(0.1);
  expect(rig.get("mount", "tracking")).toBe(true);
});

test("a cover that does not close makes the mount turn away, whatever the goal was", async () => {
  rig.stuck.add("cover.position");
  const startedSeconds = clock.monotonicSeconds();
  let awaySeconds = 0;
  rig.afterChange = (what) => {
    if (what === "mount.pointing") awaySeconds ||= clock.monotonicSeconds() - startedSeconds;
  };
  const safety = await make("covered");
  expect(safety).toMatchObject({ covered: { proved: false, why: "the cover reads open" }, offSun: true });
  expect(safety.sunSeparationDegrees).toBeGreaterThan(25);
  expect(awaySeconds).toBeLessThan(30 + 20); // and the slew's own 20 s
  expect(rig.get("mount", "tracking")).toBe(false);
});

test("a mount that can't be slewed is parked: the telescope is off the Sun though its cover is stuck", async () => {
  rig.stuck.add("cover.position");
  const devices = rig.open();
  devices.mount!.slewTo = async () => {
    throw new ReadbackError("Fake mount", "tracking", true, false);
  };
  rig.afterChange = (what) => {
    if (what === "mount.parked") rig.truth.get("mount")!.set("pointing", [0, 89]);
  };
  const safety = await make("covered and off the Sun", devices);
  expect(safety).toMatchObject({ covered: { proved: false }, offSun: true });
  expect(rig.get("mount", "parked")).toBe(true);
});

test("a mount that is gone does not keep the cover open", async () => {
  rig.silent.add("mount");
  const safety = await make("covered and off the Sun");
  expect(safety).toMatchObject({ covered: { proved: true }, offSun: false });
  expect(safety.failed).toEqual(["Fake mount: does not answer"]);
});

test("with neither it goes on, warns, and closes when the link is back", async () => {
  rig.silent.add("mount").add("cover");
  clock.setTimer(600, () => rig.silent.clear());
  const startedSeconds = clock.monotonicSeconds();
  const safety = await make("covered and off the Sun");
  expect(safety).toMatchObject({ covered: { proved: true }, offSun: true });
  expect(clock.monotonicSeconds() - startedSeconds).toBeLessThan(600 + 45);
  expect(warnings.length).toBeGreaterThan(5);
  expect(warnings[0]).toContain("neither covered nor off the Sun");
});

test("close and stop are sent before anything is asked", async () => {
  const devices = rig.open();
  const asked: string[] = [];
  const cover = new Proxy(devices.cover!, {
    get(target, key) {
      if (typeof key === "string" && /^(send|ensure|state)/.test(key)) asked.push(key);
      return Reflect.get(target, key);
    },
  });
  await make("covered and off the Sun", { ...devices, cover });
  expect(asked[0]).toBe("sendClose");
});

test("a mount is told to stop and not to follow the sky, before it is asked anything", async () => {
  const devices = rig.open();
  const asked: string[] = [];
  const mount = new Proxy(devices.mount!, {
    get(target, key) {
      if (typeof key === "string" && /^(send|ensure|state|slew)/.test(key)) asked.push(key);
      return Reflect.get(target, key);
    },
  });
  await make("covered and off the Sun", { ...devices, mount });
  expect(asked.slice(0, 2)).toEqual(["sendStop", "sendTrackingOff"]);
});

test("a cover that comes free later is closed then", async () => {
  rig.stuck.add("cover.position");
  clock.setTimer(60, () => rig.stuck.clear());
  expect((await make("covered and off the Sun")).covered.proved).toBe(true);
  expect(rig.get("cover", "position")).toBe("closed");
});

test("a mount that says it slewed and is where it was is not off the Sun", async () => {
  rig.stuck.add("mount.pointing");
  const safety = await make("covered and off the Sun");
  expect(safety).toMatchObject({ covered: { proved: true }, offSun: false });
  expect(safety.sunSeparationDegrees).toBeLessThan(1);
});

test("a parked mount is left parked", async () => {
  rig.truth.get("mount")!.set("parked", true).set("tracking", false).set("pointing", [0, 89]);
  const safety = await make("covered and off the Sun");
  expect(safety.offSun).toBe(true);
  expect(rig.told.some((line) => line.startsWith("mount.pointing"))).toBe(false);
});

test("a rig without a cover turns off the Sun", async () => {
  const { cover: _, ...devices } = rig.open();
  const safety = await make("covered and off the Sun", devices);
  expect(safety).toMatchObject({ covered: { proved: false, why: "the rig has no cover" }, offSun: true });
});

test.each([
  ["a frame has shown the cover open", { contradiction: "the cover says that it is closed" }],
  ["a step has found it unsafe to look", { turnAway: true }],
])("%s: the mount turns away at once, and not after the cover's time", async (_, known) => {
  rig.stuck.add("cover.position");
  const startedSeconds = clock.monotonicSeconds();
  let awaySeconds = 0;
  rig.afterChange = (what) => {
    if (what === "mount.pointing") awaySeconds ||= clock.monotonicSeconds() - startedSeconds;
  };
  await make("covered", rig.open(), known);
  expect(awaySeconds).toBeGreaterThan(0);
  expect(awaySeconds).toBeLessThan(5 + 20); // and the slew's own 20 s
});
