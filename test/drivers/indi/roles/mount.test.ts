import { expect, test } from "vitest";
import { IndiMount } from "../../../../drivers/indi/roles/mount.ts";
import { MissingAbilityError, ReadbackError, RefusedError } from "../../../../drivers/kit/errors.ts";
import { type Bench, onBench } from "../role-bench.ts";
import { type MountQuirks, mountName, ScriptedMount } from "../scripted-mount.ts";

async function onMount(
  quirks: MountQuirks,
  body: (mount: IndiMount, truth: ScriptedMount, bench: Bench) => Promise<void>,
): Promise<void> {
  let truth: ScriptedMount | undefined;
  await onBench(
    (server) => {
      truth = new ScriptedMount(server, quirks);
    },
    async (bench) => body(await new IndiMount(bench.context(mountName)).open(bench.signal), truth!, bench),
  );
}

const commandNames = (bench: Bench) => bench.server.commands.map(({ name }) => name);
const sunPlace = { raHours: 12.2, decDegrees: -21.5 };

test("a slew sets ON_COORD_SET to TRACK right before the coordinates, always, and arrives tracking", () =>
  onMount({}, async (mount, truth, bench) => {
    bench.server.set(mountName, "ON_COORD_SET", "Ok", { TRACK: "Off", SYNC: "On" }); // left by somebody
    await mount.slewTo(sunPlace, bench.signal);
    await mount.slewTo({ ...sunPlace, decDegrees: -20 }, bench.signal);
    expect(commandNames(bench)).toEqual([
      "ON_COORD_SET",
      "EQUATORIAL_EOD_COORD",
      "ON_COORD_SET",
      "EQUATORIAL_EOD_COORD",
    ]);
    expect(truth.raHours).toBeCloseTo(12.2, 6);
    expect(truth.decDegrees).toBeCloseTo(-20, 6);
    expect(await mount.state(bench.signal)).toMatchObject({ motion: "still", tracking: true, parked: false });
  }));

test("a mount that never leaves Busy has arrived when it is at its target and still", () =>
  onMount({ staysBusy: true }, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    expect(await mount.state(bench.signal)).toMatchObject({ motion: "still", tracking: true });
    expect(truth.decDegrees).toBeCloseTo(-21.5, 6);
  }));

test("a long slew that ends minutes off is followed by a short one", () =>
  onMount({ longSlewMissArcsec: 184 }, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    expect(truth.raHours).toBeCloseTo(12.2, 6);
  }));

test("a goto that gets no answer at all is a refusal, not a wait for ever", () =>
  onMount({}, async (mount, _, bench) => {
    bench.server.ignore("EQUATORIAL_EOD_COORD");
    await expect(mount.slewTo(sunPlace, bench.signal)).rejects.toBeInstanceOf(RefusedError);
    expect(bench.secondsNow()).toBeLessThan(10);
  }));

test("a slew that the mount refuses is told in the mount's own words; an Alert from before is not this slew's", () =>
  onMount({}, async (mount, truth, bench) => {
    const { server, signal } = bench;
    server.set(mountName, "EQUATORIAL_EOD_COORD", "Alert");
    await mount.slewTo(sunPlace, signal);
    expect(truth.decDegrees).toBeCloseTo(-21.5, 6);
    server.on("EQUATORIAL_EOD_COORD", () => {
      server.message(mountName, "[ERROR] Below the horizon.");
      server.set(mountName, "EQUATORIAL_EOD_COORD", "Alert");
    });
    await expect(mount.slewTo({ raHours: 3, decDegrees: 0 }, signal)).rejects.toThrow(/Below the horizon/);
  }));

test("interlock: nothing moves a parked or parking mount, not even the pulses that it would accept", () =>
  onMount({ parked: true }, async (mount, _, bench) => {
    const { signal } = bench;
    for (const attempt of [
      () => mount.slewTo(sunPlace, signal),
      () => mount.nudge({ eastArcsec: 10, northArcsec: 0 }, signal),
      () => mount.ensureTracking("solar", signal),
      () => mount.syncTo(sunPlace, signal),
    ]) {
      await expect(attempt()).rejects.toThrow(/while the mount is parked/);
    }
    await mount.ensureUnparked(signal);
    const parking = mount.ensureParked(signal);
    await bench.clock.sleep(1);
    await expect(mount.slewTo(sunPlace, signal)).rejects.toThrow(/while the mount is parking/);
    await parking;
    expect(commandNames(bench)).toEqual(["TELESCOPE_PARK", "TELESCOPE_PARK"]);
  }));

test("tracking that was answered with On and is off at the next look is not taken for tracking", () =>
  onMount({}, async (mount, _, { server, signal }) => {
    await mount.ensureTrackingOff(signal);
    const { beforeAnswer } = server;
    let answers = 0;
    server.beforeAnswer = (device, name) => {
      beforeAnswer(device, name);
      if (
        name === "TELESCOPE_TRACK_STATE" &&
        server.value(mountName, name, "TRACK_ON") === "On" &&
        ++answers > 1
      )
        server.remember(mountName, name, { TRACK_ON: "Off", TRACK_OFF: "On" });
    };
    await expect(mount.ensureTracking("solar", signal)).rejects.toBeInstanceOf(ReadbackError);
  }));

test("tracking that is answered with On and Alert is not taken for tracking either", () =>
  onMount({}, async (mount, _, { server, signal }) => {
    await mount.ensureTrackingOff(signal);
    server.on("TELESCOPE_TRACK_STATE", ({ values }) =>
      server.set(mountName, "TELESCOPE_TRACK_STATE", "Alert", values),
    );
    await expect(mount.ensureTracking("solar", signal)).rejects.toBeInstanceOf(ReadbackError);
  }));

test("solar rate: set, tracking on (its state is Busy then), both read back", () =>
  onMount({}, async (mount, truth, bench) => {
    await mount.ensureTracking("solar", bench.signal);
    expect(await mount.state(bench.signal)).toMatchObject({ tracking: true, trackRate: "solar" });
    expect(truth.tracking).toBe(true);
    const sent = bench.server.commands.length;
    await mount.ensureTracking("solar", bench.signal);
    expect(bench.server.commands).toHaveLength(sent);
    await mount.ensureTrackingOff(bench.signal);
    expect((await mount.state(bench.signal)).tracking).toBe(false);
  }));

test("a mount without a solar rate says so", () =>
  onMount({ without: ["TELESCOPE_TRACK_MODE"] }, async (mount, _, bench) => {
    expect(mount.abilities.solarRate).toBe(false);
    await expect(mount.ensureTracking("solar", bench.signal)).rejects.toBeInstanceOf(MissingAbilityError);
    await mount.ensureTracking("sidereal", bench.signal);
  }));

test("a driver that restarted gets the solar rate again before the next command", () =>
  onMount({}, async (mount, _, bench) => {
    await mount.ensureTracking("solar", bench.signal);
    const { server } = bench;
    server.remember(mountName, "TELESCOPE_TRACK_MODE", { TRACK_SIDEREAL: "On", TRACK_SOLAR: "Off" });
    server.remember(mountName, "CONNECTION", { CONNECT: "Off", DISCONNECT: "On" });
    const definitions = server.definitions(mountName);
    server.delete(mountName);
    await bench.clock.sleep(1);
    server.define(definitions);
    expect((await mount.state(bench.signal)).trackRate).toBe("solar");
    expect(server.value(mountName, "CONNECTION", "CONNECT")).toBe("On");
  }));

for (const quirks of [{}, { northGoesSouth: true }, { pulseGain: 0.6 }]) {
  test(`a nudge by pulses ends where it was asked to, tracking and still: ${JSON.stringify(quirks)}`, () =>
    onMount(quirks, async (mount, truth, bench) => {
      expect(mount.abilities.nudge).toBe("pulse");
      await mount.slewTo(sunPlace, bench.signal);
      await mount.ensureTracking("solar", bench.signal);
      const sentBefore = bench.server.commands.length;
      const before = { ra: truth.raHours, dec: truth.decDegrees };
      await mount.nudge({ eastArcsec: 60, northArcsec: -40 }, bench.signal);
      const cosDec = Math.cos((before.dec * Math.PI) / 180);
      expect(Math.abs((truth.raHours - before.ra) * 54_000 * cosDec - 60)).toBeLessThan(3);
      expect(Math.abs((truth.decDegrees - before.dec) * 3600 + 40)).toBeLessThan(3);
      const sent = new Set(commandNames(bench).slice(sentBefore));
      expect(sent).toEqual(new Set(["TELESCOPE_TIMED_GUIDE_NS", "TELESCOPE_TIMED_GUIDE_WE"]));
      expect(await mount.state(bench.signal)).toMatchObject({
        motion: "still",
        tracking: true,
        trackRate: "solar",
      });
    }));
}

test("no pulse is longer than the property allows, and several follow each other", () =>
  onMount({}, async (mount, _, bench) => {
    await mount.ensureTracking("solar", bench.signal);
    await mount.nudge({ eastArcsec: 100, northArcsec: 0 }, bench.signal);
    const pulses = bench.server.commands.filter(({ name }) => name === "TELESCOPE_TIMED_GUIDE_WE");
    expect(pulses.length).toBeGreaterThan(2);
    for (const { values } of pulses) expect(Number(values.TIMED_GUIDE_E)).toBeLessThanOrEqual(5000);
    for (const { values } of pulses)
      expect(Object.keys(values).sort()).toEqual(["TIMED_GUIDE_E", "TIMED_GUIDE_W"]);
  }));

test("a large nudge is a slew", () =>
  onMount({}, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    const sentBefore = bench.server.commands.length;
    await mount.nudge({ eastArcsec: 0, northArcsec: 900 }, bench.signal);
    expect(truth.decDegrees).toBeCloseTo(-21.25, 3);
    expect(commandNames(bench).slice(sentBefore)).toContain("EQUATORIAL_EOD_COORD");
  }));

test("without pulses a small nudge is timed motion whose rate is measured first; motion always ends", () =>
  onMount(
    { without: ["TELESCOPE_TIMED_GUIDE_NS", "TELESCOPE_TIMED_GUIDE_WE"], northGoesSouth: true },
    async (mount, truth, bench) => {
      expect(mount.abilities.nudge).toBe("motion");
      await mount.slewTo(sunPlace, bench.signal);
      const before = { ra: truth.raHours, dec: truth.decDegrees };
      await mount.nudge({ eastArcsec: -50, northArcsec: 80 }, bench.signal);
      const cosDec = Math.cos((before.dec * Math.PI) / 180);
      expect(Math.abs((truth.raHours - before.ra) * 54_000 * cosDec + 50)).toBeLessThan(4);
      expect(Math.abs((truth.decDegrees - before.dec) * 3600 - 80)).toBeLessThan(4);
      expect(bench.server.values(mountName, "TELESCOPE_MOTION_NS")).toEqual({
        MOTION_NORTH: "Off",
        MOTION_SOUTH: "Off",
      });
      expect(bench.server.values(mountName, "TELESCOPE_MOTION_WE")).toEqual({
        MOTION_WEST: "Off",
        MOTION_EAST: "Off",
      });
    },
  ));

test("an abort in mid-slew stops the mount, waits until it is still, and reads everything anew", () =>
  onMount({}, async (mount, truth, bench) => {
    const stop = new AbortController();
    const slewing = mount.slewTo(sunPlace, stop.signal);
    bench.clock.setTimer(2, () => stop.abort(new Error("the operator said stop")));
    await expect(slewing).rejects.toThrow("the operator said stop");
    expect(truth.abortCount).toBe(1);
    const place = truth.decDegrees;
    expect(place).toBeLessThan(-5);
    expect(place).toBeGreaterThan(-21);
    expect(await mount.state(bench.signal)).toMatchObject({ motion: "still", tracking: true });
    await bench.clock.sleep(5);
    expect(truth.decDegrees).toBe(place);
  }));

test("an abort in mid-jog ends with both switches off", () =>
  onMount(
    { without: ["TELESCOPE_TIMED_GUIDE_NS", "TELESCOPE_TIMED_GUIDE_WE"] },
    async (mount, truth, bench) => {
      await mount.slewTo(sunPlace, bench.signal);
      const stop = new AbortController();
      const nudging = mount.nudge({ eastArcsec: 200, northArcsec: 200 }, stop.signal);
      bench.clock.setTimer(1.15, () => stop.abort(new Error("stop")));
      await expect(nudging).rejects.toThrow("stop");
      const place = truth.decDegrees;
      await bench.clock.sleep(5);
      expect(truth.decDegrees).toBe(place);
    },
  ));

test("coordinates say Ok while jogging: the motion is told from the jog's own property", () =>
  onMount({}, async (mount, _, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    bench.server.set(mountName, "TELESCOPE_MOTION_NS", "Busy", { MOTION_NORTH: "On" });
    expect((await mount.state(bench.signal)).motion).toBe("jogging");
    // A refused jog leaves its switch on and its state Idle.
    bench.server.set(mountName, "TELESCOPE_MOTION_NS", "Idle", { MOTION_NORTH: "On" });
    expect((await mount.state(bench.signal)).motion).toBe("still");
  }));

test("a sync leaves ON_COORD_SET ready for the next goto", () =>
  onMount({}, async (mount, truth, bench) => {
    await mount.slewTo(sunPlace, bench.signal);
    await mount.syncTo({ raHours: 12.21, decDegrees: -21.4 }, bench.signal);
    expect(truth.raHours).toBe(12.21);
    expect(bench.server.value(mountName, "ON_COORD_SET", "TRACK")).toBe("On");
  }));

test("both park switches off: the mount does not know", () =>
  onMount({}, async (mount, _, bench) => {
    bench.server.set(mountName, "TELESCOPE_PARK", "Alert", { PARK: "Off", UNPARK: "Off" });
    expect((await mount.state(bench.signal)).parked).toBeUndefined();
  }));

test("the site's longitude is brought to east positive; a TIME_UTC that stands is no clock", () =>
  onMount({}, async (mount, _, bench) => {
    expect(await mount.siteAndTime(bench.signal)).toEqual({
      site: { latitudeDegrees: 40, longitudeDegrees: -10, elevationMetres: 100 },
      utcMs: undefined,
      siderealHours: undefined,
    });
    bench.server.after(1, () =>
      bench.server.set(mountName, "TIME_UTC", "Ok", { UTC: "2026-11-24T23:10:05" }),
    );
    bench.server.set(mountName, "TIME_UTC", "Ok", { UTC: "2026-11-24T23:10:04" });
    expect((await mount.siteAndTime(bench.signal)).utcMs).toBe(Date.UTC(2026, 10, 24, 23, 10, 5));
    bench.server.set(mountName, "GEOGRAPHIC_COORD", "Idle", { LAT: "0", LONG: "0", ELEV: "0" });
    expect((await mount.siteAndTime(bench.signal)).site).toBeUndefined(); // never told
    const lst = '<defNumber name="LST" format="%g" min="0" max="24" step="0">7.25</defNumber>';
    bench.server.define(
      `<defNumberVector device="${mountName}" name="TIME_LST" state="Ok" perm="ro">${lst}</defNumberVector>`,
    );
    await bench.clock.sleep(1);
    expect((await mount.siteAndTime(bench.signal)).siderealHours).toBe(7.25);
  }));

for (const start of ["parked", "standing", "tracking"] as const) {
  test(`a ${start} mount is put back as it was found`, () =>
    onMount({ parked: start === "parked" }, async (mount, truth, bench) => {
      const { signal, server } = bench;
      if (start === "tracking") {
        await mount.slewTo({ raHours: 5, decDegrees: 40 }, signal);
        await mount.ensureTracking("lunar", signal);
      }
      server.set(mountName, "TELESCOPE_SLEW_RATE", "Ok", { "3x": "Off", "4x": "On" });
      const before = await mount.readSettings(signal);
      expect(before.at(-1)).toEqual({ key: "connected", value: true });
      expect(before.at(-2)).toMatchObject({ key: "parked", value: start === "parked" });
      await mount.ensureUnparked(signal);
      await mount.slewTo(sunPlace, signal);
      await mount.ensureTracking("solar", signal);
      await bench.clock.sleep(600);
      for (const setting of before) await mount.restoreSetting(setting, signal);
      const after = await mount.readSettings(signal);
      expect(after.map(({ key }) => key)).toEqual(before.map(({ key }) => key));
      for (const [i, setting] of before.entries())
        expect([setting, mount.sameSetting(setting, after[i]!)]).toEqual([setting, true]);
      expect(truth.parked).toBe(start === "parked");
      expect(truth.tracking).toBe(start === "tracking");
      if (start === "tracking") expect(truth.decDegrees).toBeCloseTo(40, 2);
    }));
}
