import { expect, test } from "vitest";
import { wait } from "../../../../agent/procedures/wait/wait.ts";
import { sunFromSite } from "../../../../agent/sky/sun-from-site.ts";
import { benchOnWorld } from "../bench-on-world.ts";

test("waits for a time, and tells how much is left", async () => {
  using rig = benchOnWorld(61);
  const from = rig.clock.nowMs();
  const outcome = await rig.run(wait, { seconds: 100 });
  expect(outcome.found!.seconds).toBeCloseTo(100, 3);
  expect(rig.clock.nowMs() - from).toBeCloseTo(100_000, 0);
  expect(rig.told.map(({ secondsLeft }) => Math.round(secondsLeft!))).toEqual([100, 85, 70, 55, 40, 25, 10]);
});

test("waits until the Sun stands high enough", async () => {
  using rig = benchOnWorld(62);
  const now = sunFromSite(rig.clock.nowMs(), rig.spec.site);
  const wanted = Math.max(5, Math.min(20, now.altitudeDegrees - 5));
  const outcome = await rig.run(wait, { untilSunAltitudeDegrees: wanted });
  expect(outcome.found!.sunAltitudeDegrees).toBeGreaterThanOrEqual(wanted - 0.2);
});

test("a Sun that never gets so high is told at once", async () => {
  using rig = benchOnWorld(63, { site: { latitudeDegrees: 60 } });
  const outcome = await rig.run(wait, { untilSunAltitudeDegrees: 80 });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "SUN_NEVER_THERE" } });
});

test("a stop ends the waiting", async () => {
  using rig = benchOnWorld(64);
  const outcome = await rig.run(
    wait,
    { seconds: 3600 },
    { stop: { afterSeconds: 10, because: "the operator" } },
  );
  expect(outcome.ended).toBe("stopped");
});
