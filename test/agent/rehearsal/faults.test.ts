import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { diskTakesNothing, folderGone } from "../../../agent/rehearsal/faults/disk-faults.ts";
import { drawFaults } from "../../../agent/rehearsal/faults/draw-faults.ts";
import { at, type Fault, playFaults } from "../../../agent/rehearsal/faults/fault.ts";
import { mountStops } from "../../../agent/rehearsal/faults/mount-faults.ts";
import { driverDeath, lateReply, linkCut, lostReply } from "../../../agent/rehearsal/faults/server-faults.ts";
import {
  cameraStuckBusy,
  cloud,
  filterMissing,
  lyingReadback,
  mountNotTracking,
  rain,
  stuck,
} from "../../../agent/rehearsal/faults/world-faults.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { seenFrom } from "../../../sim-devices/scene/sun/sun-place.ts";
import { bareWorld, outline, type Session, session } from "../../sim-devices/sim-session.ts";

const begin = ({ simulator }: Session, fault: Fault) => fault.begin(simulator);

test("without its filter the Sun is ten thousand times brighter, until it is fitted again", async () => {
  const { world, pass } = bareWorld();
  playFaults({ world }, [at(10).for(5, filterMissing())]);
  const clear = world.lightPathNow().transparency;
  await pass(11);
  expect(world.lightPathNow().transparency / clear).toBeGreaterThan(5000);
  await pass(5);
  expect(world.filterFitted).toBe(true);
  expect(world.history.filter((m) => m.part === "filter").map((m) => m.what)).toEqual(["lost", "fitted"]);
});

test("what two faults bring about lasts as long as the later of them", async () => {
  const { world, pass } = bareWorld();
  playFaults({ world }, [
    at(0).for(10, filterMissing()),
    at(5).for(20, filterMissing()),
    at(0).for(10, mountStops()),
    at(5).for(20, mountNotTracking()),
  ]);
  await pass(12);
  expect(world).toMatchObject({ filterFitted: false, mount: { motorsStalled: true } });
  await pass(20);
  expect(world).toMatchObject({ filterFitted: true, mount: { motorsStalled: false } });
});

test("a disk that two faults take away is back, with what was on it, when both are over", () => {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-disk-"));
  try {
    const run = join(folder, "run");
    mkdirSync(run);
    writeFileSync(join(run, "kept"), "");
    const { world } = bareWorld();
    const disk = { folder: run, ledgerFile: ":memory:", freeMegabytes: undefined, refuseLedger: () => {} };
    const ends = [diskTakesNothing(), folderGone(), diskTakesNothing()].map((one) =>
      one.begin({ world, disk }),
    );
    expect(() => mkdirSync(run, { recursive: true })).toThrow();
    for (const end of ends.slice(1)) end?.();
    expect(() => mkdirSync(run, { recursive: true })).toThrow();
    ends[0]!();
    expect(readdirSync(run)).toEqual(["kept"]);
  } finally {
    rmSync(folder, { recursive: true });
  }
});

test("a cloud comes and goes by the script; what was called off does not come", async () => {
  const { world, pass } = bareWorld({ sky: { cloud: { lossMax: 0, periodSeconds: 60 } } });
  const callOff = playFaults({ world }, [at(5).for(10, cloud(0.3)), at(50).begins(rain(4))]);
  await pass(6);
  expect(world.lightPathNow().transparency).toBe(0.3);
  await pass(10);
  expect(world.lightPathNow().transparency).toBe(1);
  callOff();
  await pass(60);
  expect(world.weather.readings.rain).toBe(0);
});

test("a mount that does not track says it does, and loses the sky at 15 arcsec a second", async () => {
  const { world, pass } = bareWorld({
    mount: { startsParked: false, startsTracking: true, startPointing: { hourAngleHours: 0, decDegrees: 0 } },
  });
  const start = world.lineOfSight();
  await pass(10);
  mountNotTracking().begin({ world });
  await pass(10);
  expect(world.mount.tracking).toBe(true);
  expect(seenFrom(start, world.lineOfSight()).eastArcsec).toBeCloseTo(150.4, 0);
});

test("a camera stuck busy never ends, but an abort frees it", async () => {
  await session(
    async (s) => {
      const end = begin(s, cameraStuckBusy());
      await s.client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: 1 });
      await s.pass(60);
      expect(outline(s.client.take(), /EXPOSURE/)).toEqual(["set CCD_EXPOSURE Busy"]);
      await s.client.switchOn("Scene Camera", "CCD_ABORT_EXPOSURE", "ABORT");
      end?.();
      await s.client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: 1 });
      await s.pass(10);
      expect(outline(s.client.take(), /CCD_EXPOSURE/).at(-1)).toBe("set CCD_EXPOSURE Ok");
    },
    { connect: ["Scene Camera"] },
  );
});

test("a stuck cover stays Busy; a lying one says Ok", async () => {
  await session(
    async (s) => {
      begin(s, stuck("cover", 0.5));
      await s.client.switchOn("Scene Cover", "CAP_PARK", "UNPARK");
      await s.pass(60);
      expect(outline(s.client.take(), /CAP_PARK/)).toEqual(["set CAP_PARK Busy UNPARK"]);
      expect(s.simulator.world.cover.position).toBe(0.5);
      begin(s, lyingReadback("diffuser"));
      await s.client.switchOn("Scene Diffuser", "CAP_PARK", "PARK");
      await s.pass(60);
      expect(outline(s.client.take(), /CAP_PARK/).at(-1)).toBe("set CAP_PARK Ok PARK");
      expect(s.simulator.world.diffuser.position).toBe(0);
    },
    { connect: ["Scene Cover", "Scene Diffuser"] },
  );
});

test("a lying camera reads back a gain that its sensor does not have", async () => {
  await session(
    async (s) => {
      const before = s.simulator.world.camera.settings.gain;
      begin(s, lyingReadback("camera"));
      await s.client.numbers("Scene Camera", "CCD_GAIN", { GAIN: before + 1 });
      await s.pass(1);
      expect(s.simulator.world.camera.settings.gain).toBe(before + 1);
      expect(s.simulator.world.account().camera).toMatchObject({ gain: before });
    },
    { connect: ["Scene Camera"] },
  );
});

test("replies are lost and late as the script says, and the device has obeyed all the same", async () => {
  await session(
    async (s) => {
      const gain = async (value: number, seconds: number) => {
        await s.client.numbers("Scene Camera", "CCD_GAIN", { GAIN: value });
        await s.pass(seconds);
        return outline(s.client.take(), /CCD_GAIN/);
      };
      begin(s, lostReply({ device: "Scene Camera", property: "CCD_GAIN" }));
      expect(await gain(3, 60)).toEqual([]);
      expect(s.simulator.world.camera.settings.gain).toBe(3);
      expect(await gain(4, 1)).toEqual(["set CCD_GAIN Ok"]);
      const end = begin(s, lateReply({ device: "Scene Camera", property: "CCD_GAIN" }, 7));
      expect(await gain(5, 6)).toEqual([]);
      await s.pass(2);
      expect(outline(s.client.take(), /CCD_GAIN/)).toEqual(["set CCD_GAIN Ok"]);
      end?.();
      expect(await gain(6, 1)).toEqual(["set CCD_GAIN Ok"]);
    },
    { connect: ["Scene Camera"] },
  );
});

test("a cut link ends the client, and a new one is taken", async () => {
  await session(
    async (s) => {
      begin(s, linkCut());
      await s.pass(1);
      expect(s.client.ended).toBe(true);
      const next = await s.another();
      await next.say('<getProperties version="1.7"/>');
      await s.pass(1);
      expect(next.take().length).toBeGreaterThan(0);
    },
    { connect: ["Scene Camera"] },
  );
});

test("a driver dies in mid-exposure: gone, back disconnected, and no image ever", async () => {
  await session(
    async (s) => {
      await s.client.say("<enableBLOB>Also</enableBLOB>");
      await s.client.numbers("Scene Camera", "CCD_EXPOSURE", { CCD_EXPOSURE_VALUE: 5 });
      await s.pass(1.5);
      s.client.take();
      begin(s, driverDeath("Scene Camera"));
      await s.pass(20);
      const heard = s.client.take();
      expect(heard[0]).toMatchObject({ tag: "delProperty", attributes: { device: "Scene Camera" } });
      expect(heard[0]?.attributes.name).toBeUndefined();
      expect(outline(heard.slice(1))[0]).toBe("def CONNECTION Idle DISCONNECT");
      expect(heard.some((e) => e.tag === "setBLOBVector")).toBe(false);
      expect(s.simulator.world.camera.phase).toBe("idle");
    },
    { connect: ["Scene Camera"] },
  );
});

test("faults drawn from a seed are the same again, and every kind comes up", () => {
  const names = (seed: number) => drawFaults(new Random(seed), { count: 200, withinSeconds: 600 });
  const script = names(11);
  expect(script.map((s) => [s.fault.name, s.afterSeconds])).toEqual(
    names(11).map((s) => [s.fault.name, s.afterSeconds]),
  );
  const kinds = new Set(
    script.map((s) => s.fault.name.replace(/^(driver of) .*/, "$1").replace(/[\d.]+/, "")),
  );
  expect(kinds.size).toBeGreaterThan(12);
});
