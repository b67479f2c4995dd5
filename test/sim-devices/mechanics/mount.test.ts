import { expect, test } from "vitest";
import type { Clock } from "../../../drivers/kit/clock.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { seenFrom, separationDegrees } from "../../../sim-devices/scene/sun/sun-place.ts";
import { World } from "../../../sim-devices/scene/world.ts";
import { bareWorld, smallSpec } from "../sim-session.ts";

const unparked = { mount: { startsParked: false, startPointing: { hourAngleHours: 0, decDegrees: 0 } } };

test("a slew takes its time, ends on the Sun, and solar tracking stays there", async () => {
  const { world, pass, spec } = bareWorld(unparked);
  const sun = world.sun();
  const degrees = Math.max(Math.abs(sun.hourAngleDegrees), Math.abs(sun.decDegrees));
  world.mount.setTracking(false, "solar");
  expect(world.mount.slewTo(sun, true)).toBeUndefined();
  await pass(degrees / spec.mount.slewDegreesPerSecond - 1);
  expect(world.mount.phase).toBe("slewing");
  await pass(1.5 + spec.mount.settleSeconds);
  expect(world.mount.phase).toBe("still");
  expect(separationDegrees(world.lineOfSight(), world.sun()) * 3600).toBeLessThan(2);
  const before = seenFrom(world.lineOfSight(), world.sun());
  await pass(600);
  const after = seenFrom(world.lineOfSight(), world.sun());
  // Mean solar rate leaves at most 0.3 arcsec a minute in right ascension, 1 in declination.
  expect(Math.abs(after.eastArcsec - before.eastArcsec)).toBeLessThan(4);
  expect(Math.abs(after.northArcsec - before.northArcsec)).toBeLessThan(10);
});

test("each tracking rate moves the pointing as it should", async () => {
  for (const [rate, arcsecPerSecond] of [
    ["sidereal", 0],
    ["solar", 0.041067],
    ["lunar", 0.549067],
    [undefined, 15.041067],
  ] as const) {
    const { world, pass } = bareWorld(unparked);
    world.mount.setTracking(rate !== undefined, rate ?? "sidereal");
    const start = world.lineOfSight();
    await pass(100);
    const moved = seenFrom(start, world.lineOfSight()).eastArcsec;
    expect(moved / 100).toBeCloseTo(arcsecPerSecond, 3);
  }
});

test("pointing error and drift are hidden from the mount itself", async () => {
  const { world, pass } = bareWorld({
    mount: {
      ...unparked.mount,
      pointingErrorDegrees: { east: 1.2, north: -0.4 },
      driftArcsecPerSecond: { east: 0.1, north: -0.05 },
      startsTracking: true,
    },
  });
  const offset = () => seenFrom(world.mount.believed, world.lineOfSight());
  expect(offset().eastArcsec).toBeCloseTo(1.2 * 3600, -1);
  expect(offset().northArcsec).toBeCloseTo(-0.4 * 3600, -1);
  const before = offset();
  await pass(100);
  expect(offset().eastArcsec - before.eastArcsec).toBeCloseTo(10, 1);
  expect(offset().northArcsec - before.northArcsec).toBeCloseTo(-5, 1);
});

test("a reversal is swallowed by the play, and the mount does not know", async () => {
  const { world, pass } = bareWorld({ mount: { ...unparked.mount, backlashArcsec: { east: 0, north: 30 } } });
  const { mount } = world;
  const move = async (arcsec: number) => {
    const before = { true: mount.truth.decDegrees, told: mount.believed.decDegrees };
    mount.jog("north", (Math.sign(arcsec) * 20) / 3600);
    await pass(Math.abs(arcsec) / 20);
    mount.jog("north", 0);
    return {
      true: (mount.truth.decDegrees - before.true) * 3600,
      told: (mount.believed.decDegrees - before.told) * 3600,
    };
  };
  await move(100); // takes the play up northwards
  const back = await move(-100);
  expect(back.told).toBeCloseTo(-100, 6);
  expect(back.true).toBeCloseTo(-70, 6);
  const on = await move(-100);
  expect(on.true).toBeCloseTo(-100, 6);
});

test("a guide pulse moves by rate times time, east against the hour angle", async () => {
  const { world, pass } = bareWorld({ mount: { ...unparked.mount, startsTracking: true } });
  const start = world.lineOfSight();
  let done = 0;
  world.mount.pulse("east", 7.5 / 3600, 2, () => done++);
  await pass(3);
  expect(done).toBe(1);
  expect(seenFrom(start, world.lineOfSight()).eastArcsec).toBeCloseTo(15, 2);
});

test("a target below the altitude limit or beyond the hour angle limit is refused, and nothing moves", () => {
  const { world } = bareWorld({
    mount: { ...unparked.mount, limits: { altitudeDegreesMin: 10, hourAngleHoursMax: 5 } },
  });
  const lst = world.mount.siderealHours();
  expect(world.mount.slewTo({ raHours: (lst + 18) % 24, decDegrees: 60 }, true)).toMatch(/hour angle/);
  expect(world.mount.slewTo({ raHours: lst, decDegrees: -40 }, true)).toMatch(/altitude/);
  expect(world.mount.phase).toBe("still");
  expect(world.history.filter((m) => m.what === "limitRefused")).toHaveLength(2);
});

test("tracking into a limit stops there", async () => {
  const { world, pass } = bareWorld({
    mount: {
      ...unparked.mount,
      startPointing: { hourAngleHours: 3.9, decDegrees: 20 },
      startsTracking: true,
      limits: { altitudeDegreesMin: 0, hourAngleHoursMax: 4 },
    },
  });
  await pass(3600);
  expect(world.mount.tracking).toBe(false);
  expect(world.mount.believedAxes.hourAngleDegrees / 15).toBeCloseTo(4, 3);
  expect(world.history.at(-1)?.what).toBe("limitReached");
});

test("park goes to its place and refuses slews until unparked; an aborted park is neither", async () => {
  const { world, pass } = bareWorld(unparked);
  const { mount } = world;
  mount.park();
  await pass(5);
  mount.stop();
  expect(mount.parked).toBe(false);
  mount.park();
  await pass(120);
  expect(mount.parked).toBe(true);
  expect(mount.believedAxes.decDegrees).toBeCloseTo(90, 6);
  expect(mount.slewTo(world.sun(), true)).toMatch(/parked/);
  mount.unpark();
  expect(mount.slewTo(world.sun(), true)).toBeUndefined();
});

test("a sync changes what the mount believes, not where it points", () => {
  const { world } = bareWorld(unparked);
  const truth = world.lineOfSight();
  world.mount.syncTo({ raHours: 5, decDegrees: 12 });
  expect(world.mount.believed.raHours).toBeCloseTo(5, 9);
  expect(world.mount.believed.decDegrees).toBeCloseTo(12, 9);
  expect(separationDegrees(world.lineOfSight(), truth)).toBeLessThan(1e-9);
});

test("a mount that believes in a wrong site or time points as much off the sky, and does not know", async () => {
  const { world, pass } = bareWorld(unparked);
  const { mount, spec } = world;
  mount.believedSite = { ...spec.site, longitudeDegrees: spec.site.longitudeDegrees + 1 };
  mount.clockErrorSeconds = -120; // half a degree of sky the other way
  const target = { raHours: mount.siderealHours(), decDegrees: 0 };
  mount.slewTo(target, true);
  await pass(30);
  expect(separationDegrees(mount.believed, target) * 3600).toBeLessThan(1);
  expect(separationDegrees(mount.truth, target)).toBeCloseTo(0.5, 2);
});

/** That clock, with parts of it replaced. */
function likeClock(clock: Clock, parts: Partial<Clock>): Clock {
  return {
    nowMs: () => clock.nowMs(),
    monotonicSeconds: () => clock.monotonicSeconds(),
    setTimer: (seconds, callback) => clock.setTimer(seconds, callback),
    sleep: (seconds, signal) => clock.sleep(seconds, signal),
    hold: (work) => clock.hold(work),
    ...parts,
  };
}

test("slews and pulses end where they should even if every timer is late or early", async () => {
  for (const errorSeconds of [0.3, -0.0004]) {
    const spec = smallSpec(unparked);
    const virtual = new VirtualClock(Date.parse(spec.startUtc));
    const clock = likeClock(virtual, {
      setTimer: (seconds, callback) => virtual.setTimer(Math.max(0, seconds + errorSeconds), callback),
    });
    const { mount } = new World({ spec, clock, paint: () => new Uint16Array(1) });
    const target = { raHours: mount.siderealHours() - 1, decDegrees: 30 };
    mount.slewTo(target, true);
    await virtual.drive(virtual.sleep(60));
    expect(separationDegrees(mount.believed, target) * 3600).toBeLessThan(0.1);
    mount.pulse("north", 7.5 / 3600, 2, () => {});
    await virtual.drive(virtual.sleep(10));
    expect((mount.believed.decDegrees - 30) * 3600).toBeCloseTo(15, 2);
  }
});

test("time that passes between two looks at the clock does not lengthen a motion", async () => {
  const spec = smallSpec({
    ...unparked,
    mount: { ...unparked.mount, slewDegreesPerSecond: 20, backlashArcsec: { east: 0, north: 0 } },
  });
  const virtual = new VirtualClock(Date.parse(spec.startUtc));
  let lookedMs = 0;
  // Each look takes a millisecond: 72 arcsec of such a slew.
  const clock = likeClock(virtual, { nowMs: () => virtual.nowMs() + lookedMs++ });
  const { mount } = new World({ spec, clock, paint: () => new Uint16Array(1) });
  const target = { raHours: mount.siderealHours() - 1, decDegrees: 30 };
  mount.slewTo(target, true);
  await virtual.drive(virtual.sleep(60));
  expect(separationDegrees(mount.believed, target) * 3600).toBeLessThan(1);
  mount.pulse("north", 1, 2, () => {});
  await virtual.drive(virtual.sleep(10));
  expect((mount.believed.decDegrees - 32) * 3600).toBeCloseTo(0, 0);
});

test("a slew that began without power goes on when the power is back, and ends", async () => {
  const { world, pass } = bareWorld(unparked);
  const target = { raHours: world.mount.believed.raHours, decDegrees: 20 };
  world.mount.jam(true);
  expect(world.mount.slewTo(target, true)).toBeUndefined();
  await pass(100);
  expect(world.mount.phase).toBe("slewing");
  world.mount.jam(false);
  await pass(100);
  expect(world.mount.phase).toBe("still");
  expect(world.mount.believed.decDegrees).toBeCloseTo(20, 1);
});
