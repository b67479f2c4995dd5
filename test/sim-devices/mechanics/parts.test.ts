import { expect, test } from "vitest";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { Cloud } from "../../../sim-devices/scene/mechanics/cloud.ts";
import { Glide } from "../../../sim-devices/scene/mechanics/glide.ts";
import type { LightPath } from "../../../sim-devices/scene/painter-contract.ts";
import { World } from "../../../sim-devices/scene/world.ts";
import { accountDifferences } from "../../../sim-devices/scene/world-account.ts";
import { bareWorld, smallSpec } from "../sim-session.ts";

test("the cover takes seconds and can be seen part open; the picture sees it too", async () => {
  const { world, pass } = bareWorld();
  world.cover.moveTo(1);
  await pass(2);
  expect(world.cover.position).toBeCloseTo(0.4, 6);
  expect(world.lightPathNow().coverOpenFraction).toBeCloseTo(0.4, 6);
  await pass(3);
  expect(world.cover).toMatchObject({ position: 1, moving: false });
});

test("the diffuser counts as in place from half way in", async () => {
  const { world, pass } = bareWorld();
  world.diffuser.moveTo(1);
  await pass(1.9);
  expect(world.lightPathNow().diffuserInPlace).toBe(false);
  await pass(0.2);
  expect(world.lightPathNow().diffuserInPlace).toBe(true);
});

test("the focuser's lens lags its motor by the play after a reversal", async () => {
  const { world, pass } = bareWorld({ focuser: { backlashSteps: 40, stepsPerSecond: 1000 } });
  const start = world.focuser.position;
  world.focuser.moveTo(start + 500);
  await pass(0.25);
  expect(world.focuser.position).toBeCloseTo(start + 250, 6);
  await pass(1);
  expect(world.focuser.load).toBe(start + 460);
  world.focuser.moveTo(start + 480);
  await pass(1);
  expect(world.focuser.load).toBe(start + 460);
  world.focuser.moveTo(start);
  await pass(1);
  expect(world.focuser.load).toBe(start);
});

test("a jammed leaf stays where it jams and claims to move; freed, it goes on", async () => {
  const { world, pass } = bareWorld();
  const free = world.cover.jam(0.3);
  world.cover.moveTo(1);
  await pass(60);
  expect(world.cover).toMatchObject({ moving: true, travelling: false });
  expect(world.cover.position).toBeCloseTo(0.3, 9);
  free();
  await pass(4);
  expect(world.cover).toMatchObject({ position: 1, moving: false });
});

test("a lying cover reports what it was told and does not move", async () => {
  const { world, pass } = bareWorld();
  world.cover.pretend();
  world.cover.moveTo(1);
  await pass(10);
  expect(world.cover).toMatchObject({ reported: 1, position: 0 });
});

test("of a leaf that sticks at two places and lies, each fault ends alone", async () => {
  const { world, pass } = bareWorld();
  world.cover.moveTo(1);
  await pass(10);
  const [free, endPretence] = [world.cover.jam(0.8), world.cover.pretend()];
  const freeFurther = world.cover.jam(0.3);
  world.cover.moveTo(0);
  await pass(10);
  endPretence();
  expect(world.cover).toMatchObject({ reported: 1, position: 1, moving: false });
  world.cover.moveTo(0);
  await pass(10);
  expect(world.cover.position).toBeCloseTo(0.8, 9);
  free();
  await pass(10);
  expect(world.cover.position).toBeCloseTo(0.3, 9);
  freeFurther();
  await pass(10);
  expect(world.cover).toMatchObject({ position: 0, moving: false });
});

test("when it lies no more its driver hears that there is something new to read", async () => {
  const { world, pass } = bareWorld();
  const endPretence = world.cover.pretend();
  world.cover.moveTo(1);
  await pass(10);
  const heard: string[] = [];
  world.listen(({ part, what }) => heard.push(`${part} ${what}`));
  endPretence();
  expect(heard).toEqual(["cover moveStopped"]);
  expect(world.cover).toMatchObject({ reported: 0, position: 0 });
});

test("a stopped glide stays between, and no news of an arrival comes", async () => {
  const clock = new VirtualClock(0);
  const news: string[] = [];
  const glide = new Glide({ clock, position: 0, unitsPerSecond: 2, note: (what) => news.push(what) });
  glide.moveTo(10);
  await clock.drive(clock.sleep(1));
  glide.stop();
  await clock.drive(clock.sleep(10));
  expect(glide).toMatchObject({ position: 2, moving: false, target: 2 });
  expect(news).toEqual(["moveStarted", "moveStopped"]);
  expect(clock.pendingTimers).toBe(0);
});

test("a picture is painted from the light path at the middle of the exposure, with its smear", async () => {
  const spec = smallSpec({
    mount: { startsParked: false, startPointing: { hourAngleHours: 0, decDegrees: 0 } },
  });
  const clock = new VirtualClock(Date.parse(spec.startUtc));
  const seen: LightPath[] = [];
  const world = new World({
    spec,
    clock,
    paint: (light) => {
      seen.push(light);
      return new Uint16Array(1);
    },
  });
  world.cover.moveTo(1);
  world.camera.expose(4, () => {});
  await clock.drive(clock.sleep(10));
  expect(seen[0]?.coverOpenFraction).toBeCloseTo(0.4, 6);
  // Tracking is off: the line of sight goes east by 15 arcsec a second, so the Sun goes west.
  const { smearEastArcsec, smearNorthArcsec } = seen[0]!;
  expect(Math.hypot(smearEastArcsec, smearNorthArcsec)).toBeGreaterThan(40);
  expect(Math.hypot(smearEastArcsec, smearNorthArcsec)).toBeLessThan(61);
});

test("an aborted exposure paints nothing; frames are counted", async () => {
  const { world, pass } = bareWorld();
  const numbers: number[] = [];
  world.camera.expose(5, (frame) => numbers.push(frame.ask.frameNumber));
  await pass(1);
  expect(world.camera.secondsLeft).toBeCloseTo(4, 6);
  world.camera.abort();
  await pass(10);
  expect(numbers).toEqual([]);
  for (let i = 0; i < 2; i++) {
    world.camera.expose(1, (frame) => numbers.push(frame.ask.frameNumber));
    await pass(5);
  }
  expect(numbers).toEqual([0, 1]);
});

test("the sensor cools at its own pace and warms to ambient", async () => {
  const { world, pass, spec } = bareWorld({ startsWith: { coolerOn: false } });
  expect(world.camera.sensorCelsius).toBe(spec.camera.ambientCelsius);
  world.camera.cool(true, spec.camera.ambientCelsius - 10);
  await pass(10);
  expect(world.camera.sensorCelsius).toBeCloseTo(spec.camera.ambientCelsius - 5, 6);
  await pass(20);
  expect(world.camera.sensorCelsius).toBe(spec.camera.ambientCelsius - 10);
  world.camera.cool(false);
  await pass(60);
  expect(world.camera.sensorCelsius).toBe(spec.camera.ambientCelsius);
});

test("a dome shuts the light out by its shutter and by its slit", async () => {
  const { world, pass } = bareWorld(
    { startsWith: { cover: "open" } },
    {
      dome: {
        degreesPerSecond: 10,
        shutterSeconds: 5,
        startsOpen: true,
        startAzimuthDegrees: 350,
        parkAzimuthDegrees: 90,
        slitHalfWidthDegrees: 180,
      },
    },
  );
  world.dome.turnTo(10);
  await pass(2);
  expect(world.dome.azimuthDegrees).toBeCloseTo(10, 6); // by the shorter way
  expect(world.lightPathNow().coverOpenFraction).toBe(1);
  world.dome.shutter.moveTo(0);
  await pass(5);
  expect(world.lightPathNow().coverOpenFraction).toBe(0);
});

test("thin cloud wanders within its loss, the same for the same seed; a bank covers it", () => {
  const spec = { lossMax: 0.2, periodSeconds: 60 };
  const values = Array.from({ length: 500 }, (_, i) => new Cloud(7, spec).transparency(i * 5000));
  expect(Math.min(...values)).toBeGreaterThanOrEqual(0.8);
  expect(Math.max(...values)).toBeLessThanOrEqual(1);
  expect(Math.max(...values) - Math.min(...values)).toBeGreaterThan(0.1);
  const again = new Cloud(7, spec);
  expect(again.transparency(2_495_000)).toBe(values[499]);
  again.draw({ fromMs: 0, untilMs: 10_000, transmission: 0 });
  expect([again.transparency(5000), again.transparency(10_000) > 0]).toEqual([0, true]);
});

test("the account tells what changed and what is back", async () => {
  const { world, pass } = bareWorld();
  const before = world.account();
  world.camera.settings.gain += 5;
  world.rotator.moveTo(33);
  await pass(10);
  const differences = accountDifferences(before, world.account());
  expect(differences.map((line) => line.split(" ")[0])).toEqual(["camera.gain", "rotator.degrees"]);
  world.camera.settings.gain -= 5;
  world.rotator.moveTo(0.01);
  await pass(10);
  expect(accountDifferences(before, world.account())).toEqual([]);
});
