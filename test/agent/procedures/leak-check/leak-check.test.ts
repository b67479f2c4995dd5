import { existsSync } from "node:fs";
import { join } from "node:path";
import { expect, test } from "vitest";
import { leakCheck } from "../../../../agent/procedures/leak-check/leak-check.ts";
import type { LeakCheckRequest } from "../../../../agent/procedures/leak-check/leak-request.ts";
import { leakOfFlat } from "../../../../sim-devices/scene/optics/light-leak.ts";
import { drawScene } from "../../../../sim-devices/scene/spec/draw-scene.ts";
import { benchOnScene, benchOnWorld, stillMount } from "../bench-on-world.ts";

const request: LeakCheckRequest = {
  limitFraction: 0.001,
  frames: 8,
  levelFraction: 0.85,
  coverAfter: "closed",
};
const gap = { through: "gap", shape: "gradient", degrees: 30, reachDegrees: 10 } as const;

function leaky(seed: number, fraction: number) {
  const dry = drawScene(seed, { camera: { widthPx: 192, heightPx: 160 }, mount: stillMount });
  return benchOnScene({ ...dry, rig: { ...dry.rig, leak: leakOfFlat(dry, fraction, gap) } });
}

test("a tight rig: no leak, and the darks are kept for the flat", async () => {
  using rig = benchOnWorld(21);
  const outcome = await rig.run(leakCheck, request);
  expect(outcome.ended).toBe("completed");
  expect(outcome.found).toMatchObject({ found: false, verdict: "good" });
  expect(outcome.found!.leakFraction).toBeLessThan(outcome.found!.detectionLimitFraction);
  expect(rig.findings.darkMaster).toMatchObject({ frameCount: 8 });
  expect(existsSync(join(rig.bench.folder, rig.findings.darkMaster!.file))).toBe(true);
  expect(rig.findings.unhealthyPx!.length).toBe(256 * 192);
});

test("covered frames: half on the Sun, all of the others off it, half on the Sun again", async () => {
  using rig = benchOnWorld(22);
  const seen: string[] = [];
  rig.world.listen(({ part, what }) => {
    if (part !== "camera" || what !== "exposureStarted" || rig.world.cover.position > 0) return;
    const { sunEastArcsec, sunNorthArcsec } = rig.world.lightPathNow();
    seen.push(Math.hypot(sunEastArcsec, sunNorthArcsec) < 3600 ? "on" : "off");
  });
  await rig.run(leakCheck, request);
  const on = (n: number) => new Array(n).fill("on");
  expect(seen).toEqual([...on(4), ...new Array(2 + 8).fill("off"), ...on(4)]); // two biases before the eight
});

test("a leak of 1 % of the flat: failed with advice, size and side told, cover closed, diffuser out", async () => {
  using rig = leaky(23, 0.01);
  const outcome = await rig.run(leakCheck, { ...request, coverAfter: "open" });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "LIGHT_LEAK" }, found: { found: true } });
  const { meanLeakAdu, flatLevelAdu, gradientDegrees, verdict } = outcome.found!;
  expect(Math.abs(meanLeakAdu / flatLevelAdu / 0.01 - 1)).toBeLessThan(0.02);
  expect(verdict).toBe("bad");
  const turn = Math.abs(gradientDegrees - gap.degrees);
  expect(Math.min(turn, 360 - turn)).toBeLessThan(10);
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.diffuser.position).toBe(0);
});

test("a cover that opens behind its own report while covered frames are taken is no leak: not safe", async () => {
  using rig = benchOnWorld(27);
  let coveredFrames = 0;
  rig.world.listen(({ part, what }) => {
    if (part !== "camera" || what !== "exposureStarted" || rig.world.cover.position > 0) return;
    coveredFrames++;
    if (coveredFrames === 1) rig.world.cover.pretend(1);
  });
  const outcome = await rig.run(leakCheck, request);
  expect(outcome.ended).toBe("unsafe");
  expect(outcome.failure?.message).toContain("past the cover, which says that it is closed");
});

test("a leak below the limit is told and lets the flat go on", async () => {
  using rig = leaky(24, 0.0006);
  const outcome = await rig.run(leakCheck, request);
  expect(outcome).toMatchObject({ ended: "completed", found: { found: true, verdict: "good" } });
});

test("a stop while it compares off the Sun: stopped, cover closed, diffuser out, camera idle", async () => {
  using rig = benchOnWorld(25);
  const outcome = await rig.run(leakCheck, request, {
    stop: { afterSeconds: 60, because: "the operator" },
  });
  expect(outcome.ended).toBe("stopped");
  expect(rig.world.cover.position).toBe(0);
  expect(rig.world.diffuser.position).toBe(0);
  expect(rig.world.camera.phase).toBe("idle");
});

test("without a cover it is refused before anything moves", async () => {
  using rig = benchOnWorld(26);
  const { cover: _none, ...uncovered } = rig.bench.rig;
  Object.assign(rig.bench, { rig: uncovered });
  const before = rig.world.history.length;
  const outcome = await rig.run(leakCheck, request, { rig: { cover: undefined } as never });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "RIG_MISSING_ABILITY" } });
  expect(rig.world.history.slice(before).some(({ part }) => part === "mount")).toBe(false);
});
