import { expect, test } from "vitest";
import { retreatFromSun, retreatPointing } from "../../../../agent/run/restoring/retreat.ts";
import { separationDegrees } from "../../../../agent/sky/separation.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { Random } from "../../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { FakeRig } from "../fake-rig.ts";
import { forenoonUtcMs } from "../fake-run.ts";

const site = { latitudeDegrees: 52.1, longitudeDegrees: -1.4, elevationMetres: 110 };
const hourMs = 3_600_000;

test("the retreat is 30 degrees from the Sun, never lower than it, and the Sun does not come by all day", () => {
  const random = new Random(20260620);
  for (let i = 0; i < 300; i++) {
    const place = {
      latitudeDegrees: random.between(-65, 65),
      longitudeDegrees: random.between(-180, 180),
      elevationMetres: 0,
    };
    const utcMs = forenoonUtcMs + random.between(0, 365 * 24) * hourMs;
    const sun = sunFromSite(utcMs, place);
    if (sun.altitudeDegrees < 5) continue;
    const to = retreatPointing(place, utcMs);
    expect(separationDegrees(to, sun)).toBeCloseTo(30, 6);
    // A mount that stands still keeps its hour angle while the Sun goes round.
    for (let hour = 0; hour <= 24; hour++) {
      const later = sunFromSite(utcMs + hour * hourMs, place);
      const then = {
        raHours: to.raHours + later.siderealHours - sun.siderealHours,
        decDegrees: to.decDegrees,
      };
      expect(separationDegrees(then, later)).toBeGreaterThan(29.5);
    }
  }
});

test("cover, then mount; a stuck cover does not keep the mount on the Sun", async () => {
  const clock = new VirtualClock(forenoonUtcMs);
  const rig = new FakeRig(clock);
  rig.truth.get("cover")!.set("position", "open");
  rig.truth.get("mount")!.set("parked", false).set("tracking", true);
  const tools = { clock, log: silentLog, signal: new AbortController().signal };
  rig.silent.add("cover");
  const failed = await clock.drive(retreatFromSun(rig.open(), site, tools));
  expect(failed).toEqual(["Fake cover: does not answer"]);
  expect(rig.get("mount", "tracking")).toBe(false);
  const [raHours, decDegrees] = rig.get("mount", "pointing") as readonly [number, number];
  expect(separationDegrees({ raHours, decDegrees }, sunFromSite(clock.nowMs(), site))).toBeGreaterThan(29);
  rig.silent.delete("cover");
  rig.told.length = 0;
  rig.truth.get("mount")!.set("tracking", true);
  expect(await clock.drive(retreatFromSun(rig.open(), site, tools))).toEqual([]);
  const closed = rig.told.indexOf("cover.position = closed");
  expect(closed).toBeGreaterThan(rig.told.indexOf("camera stops"));
  expect(rig.told.findIndex((line) => line.startsWith("mount.pointing"))).toBeGreaterThan(closed);
});

test("a parked mount is left parked", async () => {
  const clock = new VirtualClock(forenoonUtcMs);
  const rig = new FakeRig(clock);
  const tools = { clock, log: silentLog, signal: new AbortController().signal };
  expect(await clock.drive(retreatFromSun(rig.open(), site, tools))).toEqual([]);
  expect(rig.told.some((line) => line.startsWith("mount.pointing"))).toBe(false);
});
