import { expect, test } from "vitest";
import { equinoxMsOf, precess } from "../../../../drivers/alpaca/roles/equinox.ts";
import type { AlpacaMount } from "../../../../drivers/alpaca/roles/mount.ts";
import {
  MissingAbilityError,
  OutOfLimitsError,
  ReadbackError,
  RefusedError,
} from "../../../../drivers/kit/errors.ts";
import type { Setting } from "../../../../drivers/roles/device.ts";
import { distanceDegrees, skyOffset } from "../../../../drivers/roles/mount-sky.ts";
import { type AlpacaBench, onAlpaca } from "../alpaca-bench.ts";
import { type MountScript, mountName, ScriptedMount } from "../scripted-mount.ts";

async function onMount(
  script: MountScript,
  body: (mount: AlpacaMount, truth: ScriptedMount, bench: AlpacaBench) => Promise<void>,
): Promise<void> {
  let truth: ScriptedMount | undefined;
  await onAlpaca(
    (far, clock) => {
      truth = new ScriptedMount(far, clock, script);
    },
    async (bench) => body((await bench.open("mount", { device: mountName })) as AlpacaMount, truth!, bench),
  );
}

const commands = (bench: AlpacaBench) =>
  bench.far.seen.filter(({ method }) => method === "PUT").map(({ member }) => member);
const sunPlace = { raHours: 5.9, decDegrees: 23.4 };

test("opening sends nothing", () => onMount({}, async (_, __, bench) => expect(commands(bench)).toEqual([])));

test.each([{ version: 4 }, { version: 4, deviceState: false }, { version: 3 }])(
  "a slew arrives, still and tracking: %o",
  (script) =>
    onMount(script, async (mount, truth, bench) => {
      await mount.slewTo(sunPlace, bench.signal);
      expect(truth.raHours).toBeCloseTo(5.9, 6);
      expect(truth.decDegrees).toBeCloseTo(23.4, 6);
      expect(await mount.state(bench.signal)).toMatchObject({
        motion: "still",
        tracking: true,
        parked: false,
      });
      expect(bench.secondsNow()).toBeLessThan(6);
    }),
);

test("one request shows all where the mount has a device state", () =>
  onMount({}, async (mount, _, bench) => {
    const before = bench.far.seen.length;
    await mount.state(bench.signal);
    const asked = bench.far.seen.slice(before).map(({ member }) => member);
    expect(asked).toEqual(["devicestate", "trackingrate", "rightascensionrate"]);
  }));

test("tracking is switched on before a slew, which would be refused without", () =>
  onMount({ tracking: false }, async (mount, _, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    expect(commands(bench)).toEqual(["tracking", "slewtocoordinatesasync"]);
  }));

test("a slew that ends minutes off is followed by a short one", () =>
  onMount({ missArcsec: 184 }, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    expect(truth.decDegrees).toBeCloseTo(23.4, 6);
    expect(truth.slews).toHaveLength(2);
  }));

test("a slew that the mount refuses is told in its words; one that it overlooks is no wait for ever", async () => {
  await onMount({}, async (mount, _, bench) => {
    await expect(mount.slewTo({ ...sunPlace, decDegrees: -60 }, bench.signal)).rejects.toThrow(
      /below the horizon/,
    );
  });
  await onMount({ ignoresSlews: true }, async (mount, _, bench) => {
    await expect(mount.slewTo(sunPlace, bench.signal)).rejects.toThrow(/no slew began/);
    expect(bench.secondsNow()).toBeLessThan(10);
  });
});

test("a place that is none is refused before anything is sent", () =>
  onMount({}, async (mount, _, bench) => {
    for (const place of [
      { raHours: Number.NaN, decDegrees: 0 },
      { raHours: 1, decDegrees: 91 },
    ])
      await expect(mount.slewTo(place, bench.signal)).rejects.toBeInstanceOf(OutOfLimitsError);
    expect(commands(bench)).toEqual([]);
  }));

test("a mount of J2000 is sent there and read from there: the Sun is 22 arcmin away otherwise", () =>
  onMount({ equatorialSystem: 2 }, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    const raw = { raHours: truth.raHours, decDegrees: truth.decDegrees };
    expect(distanceDegrees(raw, sunPlace) * 60).toBeGreaterThan(15);
    const { pointing } = await mount.state(bench.signal);
    expect(distanceDegrees(pointing, sunPlace) * 3600).toBeLessThan(1);
  }));

test("precession: the worked example of a star from J2000 to 2028", () => {
  // J. Meeus, Astronomical Algorithms, example 21.b (theta Persei, proper motion applied before).
  const start = { raHours: 41.054063 / 15, decDegrees: 49.22775 };
  const toMs = Date.UTC(2028, 10, 13, 4, 33, 36);
  const { raHours, decDegrees } = precess(start, equinoxMsOf(2)!, toMs);
  expect(raHours * 15).toBeCloseTo(41.547214, 5);
  expect(decDegrees).toBeCloseTo(49.348483, 5);
});

test("solar rate: the standard's own, with the offsets cleared that somebody left, and read back", () =>
  onMount({}, async (mount, truth, bench) => {
    truth.raOffset = 0.0031;
    expect(mount.abilities.solarRate).toBe(true);
    expect((await mount.state(bench.signal)).trackRate).toBe("custom");
    await mount.ensureTracking("solar", bench.signal);
    expect([truth.rate, truth.raOffset, truth.tracking]).toEqual([2, 0, true]);
    expect(await mount.state(bench.signal)).toMatchObject({ tracking: true, trackRate: "solar" });
    await mount.ensureTracking("solar", bench.signal);
    expect(commands(bench)).toEqual(["rightascensionrate", "trackingrate"]);
    await mount.ensureTrackingOff(bench.signal);
    expect(truth.tracking).toBe(false);
  }));

test("a rate that did not take is found out; one that is not offered is refused", async () => {
  await onMount({ deafToRate: true }, async (mount, _, bench) => {
    await expect(mount.ensureTracking("solar", bench.signal)).rejects.toBeInstanceOf(ReadbackError);
  });
  await onMount({ rates: [0] }, async (mount, _, bench) => {
    expect(mount.abilities.solarRate).toBe(false);
    await expect(mount.ensureTracking("solar", bench.signal)).rejects.toBeInstanceOf(MissingAbilityError);
  });
});

test("a mount that falls back to sidereal with every slew is set to solar again", () =>
  onMount({ forgetsRate: true }, async (mount, truth, bench) => {
    await mount.ensureTracking("solar", bench.signal);
    await mount.slewTo(sunPlace, bench.signal);
    expect(truth.rate).toBe(2);
  }));

test("nothing moves a parked or parking mount", () =>
  onMount({ parked: true, tracking: false }, async (mount, _, bench) => {
    const { signal } = bench;
    for (const attempt of [
      () => mount.slewTo(sunPlace, signal),
      () => mount.nudge({ eastArcsec: 10, northArcsec: 0 }, signal),
      () => mount.ensureTracking("solar", signal),
      () => mount.syncTo(sunPlace, signal),
    ])
      await expect(attempt()).rejects.toThrow(/while the mount is parked/);
    await mount.ensureUnparked(signal);
    const parking = mount.ensureParked(signal);
    await bench.clock.sleep(1);
    expect((await mount.state(signal)).motion).toBe("parking");
    await expect(mount.slewTo(sunPlace, signal)).rejects.toThrow(/while the mount is parking/);
    await mount.ensureStopped(signal);
    await parking;
    expect(await mount.state(signal)).toMatchObject({ parked: true, motion: "still", tracking: false });
    expect(commands(bench)).toEqual(["unpark", "park"]);
  }));

for (const [name, script] of [
  ["by honest pulses", {}],
  ["by pulses that go the wrong way and fall short", { pulseGain: { ra: 0.7, dec: -1 } }],
  ["by slews", { canPulse: false }],
] as const) {
  test.each([
    { eastArcsec: 40, northArcsec: 0 },
    { eastArcsec: 0, northArcsec: -30 },
    { eastArcsec: -600, northArcsec: 400 },
  ])(`a nudge ${name}: %o`, (by) =>
    onMount(script, async (mount, _, bench) => {
      await mount.ensureTracking("solar", bench.signal);
      const before = (await mount.state(bench.signal)).pointing;
      await mount.nudge(by, bench.signal);
      const after = await mount.state(bench.signal);
      const moved = skyOffset(before, after.pointing);
      const tolerance = 4 + 0.02 * Math.hypot(by.eastArcsec, by.northArcsec);
      expect(Math.abs(moved.eastArcsec - by.eastArcsec)).toBeLessThan(tolerance);
      expect(Math.abs(moved.northArcsec - by.northArcsec)).toBeLessThan(tolerance);
      expect(after).toMatchObject({ motion: "still", tracking: true, trackRate: "solar" });
    }),
  );
}

test("an abort in mid-slew goes out at once and leaves the mount still, tracking, short of the target", () =>
  onMount({}, async (mount, truth, bench) => {
    const stop = new AbortController();
    bench.clock.setTimer(2, () => stop.abort(new Error("stop")));
    await expect(mount.slewTo({ raHours: 6, decDegrees: 65 }, stop.signal)).rejects.toThrow("stop");
    const abort = bench.far.asked("abortslew")[0]!;
    expect(abort.seconds).toBeLessThan(2.1);
    expect(truth.decDegrees).toBeLessThan(30);
    expect(await mount.state(bench.signal)).toMatchObject({ motion: "still", tracking: true });
  }));

test("site and clock as the mount believes them", () =>
  onMount({}, async (mount, _, bench) => {
    const { site, utcMs, siderealHours } = await mount.siteAndTime(bench.signal);
    expect(site).toEqual({ latitudeDegrees: 46.5, longitudeDegrees: 9.8, elevationMetres: 1720 });
    expect(Math.abs(utcMs! - bench.clock.nowMs())).toBeLessThan(1000);
    expect(siderealHours).toBeCloseTo(6.5, 2);
  }));

test("a sync tells the mount where it points, and is read back", () =>
  onMount({}, async (mount, truth, bench) => {
    await mount.syncTo({ raHours: 6.01, decDegrees: 20.1 }, bench.signal);
    expect(truth.raHours).toBeCloseTo(6.01, 4);
  }));

test.each([
  ["tracking", {}],
  ["standing", { tracking: false }],
  ["parked", { tracking: false, parked: true }],
] as const)("is put back as found: %s", (_, script) =>
  onMount(script, async (mount, truth, bench) => {
    const { signal } = bench;
    if (script && !("tracking" in script)) truth.raOffset = 0.002;
    const changed = async (before: readonly Setting[]) => {
      const now = await mount.readSettings(signal);
      return before
        .filter((one) => {
          const found = now.find(({ key }) => key === one.key);
          return !found || !mount.sameSetting(one, found);
        })
        .map(({ key }) => key);
    };
    const before = await mount.readSettings(signal);
    expect(await changed(before)).toEqual([]);
    await mount.ensureUnparked(signal);
    await mount.slewTo(sunPlace, signal);
    await mount.ensureTracking("solar", signal);
    await mount.nudge({ eastArcsec: 30, northArcsec: 20 }, signal);
    expect((await changed(before)).length).toBeGreaterThan(0);
    for (const setting of before) await mount.restoreSetting(setting, signal);
    expect(await changed(before)).toEqual([]);
    expect(truth.parked).toBe("parked" in script);
    expect(truth.rate).toBe(0);
  }),
);

test("a refusal keeps its number", () =>
  onMount({}, async (mount, _, bench) => {
    const error = await mount
      .slewTo({ ...sunPlace, decDegrees: -60 }, bench.signal)
      .catch((thrown: unknown) => thrown);
    expect(error).toBeInstanceOf(RefusedError);
    expect(error).toMatchObject({ errorNumber: 0x40b, code: "RIG_REFUSED", device: mountName });
  }));
