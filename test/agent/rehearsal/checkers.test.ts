import { expect, test } from "vitest";
import { checkWorld } from "../../../agent/rehearsal/checkers/check-world.ts";
import { bareWorld } from "../../sim-devices/sim-session.ts";

const ready = { mount: { startsParked: false, startPointing: { hourAngleHours: -3, decDegrees: -20 } } };
const found = (world: Parameters<typeof checkWorld>[0]) => checkWorld(world).map((f) => f.checker);

test("a covered slew, a look, and everything put back: nothing to find", async () => {
  const { world, pass } = bareWorld(ready);
  world.mount.slewTo(world.sun(), true);
  await pass(60);
  world.cover.moveTo(1);
  await pass(6);
  world.camera.expose(1, () => {});
  await pass(5);
  world.cover.moveTo(0);
  await pass(6);
  expect(checkWorld(world)).toEqual([]);
});

test("an open tube on its way to the Sun is found once, with its time", async () => {
  const { world, pass, clock } = bareWorld(ready);
  world.cover.moveTo(1);
  await pass(6);
  const startedMs = clock.nowMs();
  world.mount.slewTo(world.sun(), true);
  await pass(60);
  world.cover.moveTo(0);
  await pass(6);
  expect(checkWorld(world)).toMatchObject([{ checker: "uncoveredSlew", atMs: startedMs }]);
});

test("a small correction of an open tube that looks at the Sun already is no slew to it", async () => {
  const { world, pass } = bareWorld(ready);
  world.mount.slewTo(world.sun(), true);
  await pass(60);
  world.cover.moveTo(1);
  await pass(6);
  const sun = world.sun();
  world.mount.slewTo({ raHours: sun.raHours, decDegrees: sun.decDegrees + 0.3 }, true);
  await pass(30);
  world.cover.moveTo(0);
  await pass(6);
  expect(found(world)).toEqual([]);
});

test("unfiltered light is forgiven to who closes at once, not to who stays", async () => {
  const { world, pass } = bareWorld(ready);
  world.mount.slewTo(world.sun(), true);
  await pass(60);
  world.cover.moveTo(1);
  await pass(10);
  world.filterFitted = false;
  await pass(5);
  world.cover.moveTo(0);
  await pass(10);
  expect(found(world)).toEqual([]);
  world.cover.moveTo(1);
  await pass(120);
  expect(found(world)).toEqual(["unfilteredLight"]);
});

test("a move past a limit, a second command on a busy device, and what is left at the end", async () => {
  const { world, pass } = bareWorld(ready);
  world.mount.slewTo({ raHours: world.mount.siderealHours(), decDegrees: -85 }, true);
  world.focuser.moveTo(world.focuser.position + 5000);
  world.focuser.moveTo(0);
  world.cover.moveTo(1);
  await pass(2);
  world.cover.stop();
  world.diffuser.moveTo(1);
  world.camera.expose(3600, () => {});
  await pass(100);
  const findings = checkWorld(world);
  expect(findings.map((f) => f.checker)).toEqual([
    "pastLimit",
    "overlappingCommands",
    "leftAtEnd",
    "leftAtEnd",
    "leftAtEnd",
  ]);
  expect(findings.slice(2).map((f) => f.what)).toEqual([
    "cover left half way (0.40 open)",
    "diffuser left in place",
    "an exposure left running",
  ]);
});
