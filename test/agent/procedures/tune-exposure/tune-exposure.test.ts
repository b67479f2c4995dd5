import { expect, test } from "vitest";
import { pointAtSun } from "../../../../agent/procedures/sun-pointing.ts";
import { tuneExposure } from "../../../../agent/procedures/tune-exposure/tune-exposure.ts";
import type { TuneRequest } from "../../../../agent/procedures/tune-exposure/tune-request.ts";
import { coverFront } from "../../../../agent/safing/cover-front.ts";
import { uncover } from "../../../../agent/safing/uncover.ts";
import type { SceneOverrides } from "../../../../sim-devices/scene/spec/override-scene.ts";
import { benchOnWorld } from "../bench-on-world.ts";

const request: TuneRequest = { blur: "diffuser", levelFraction: 0.85 };

/** Pointed at the Sun, diffuser in the light, cover open. */
async function inTheLight(seed: number, overrides: SceneOverrides = {}) {
  const bench = benchOnWorld(seed, overrides);
  const { signal } = new AbortController();
  await bench.clock.drive(
    (async () => {
      await coverFront(bench.bench, signal);
      await pointAtSun(bench.bench, signal);
      await bench.rig.diffuser!.ensureClosed(signal);
      await uncover(bench.bench, signal);
    })(),
  );
  return bench;
}

test("the first frame is the shortest, the last has its upper edge at 85 %, and the rate is kept", async () => {
  using rig = await inTheLight(11);
  const outcome = await rig.run(tuneExposure, request);
  expect(outcome.ended).toBe("completed");
  const { edgeFraction, testFrames, exposureSeconds, gain } = outcome.found!;
  expect(Math.abs(edgeFraction - 0.85)).toBeLessThan(0.01);
  expect(testFrames).toBeLessThanOrEqual(5);
  expect(gain).toBe(0);
  const frames = rig.notes.filter(({ event }) => event === "test frame");
  expect(frames[0]!.fields!.exposureSeconds).toBe(rig.spec.camera.exposureSecondsMin);
  expect(rig.findings.lightRate.diffuser!.edgeAduPerSecond * exposureSeconds).toBeGreaterThan(50_000);
});

test("with what the first time taught it, two frames are enough", async () => {
  using rig = await inTheLight(12);
  await rig.run(tuneExposure, request);
  const again = await rig.run(tuneExposure, request);
  expect(again.found!.testFrames).toBe(2);
});

test("most of the light clips at the shortest exposure: not safe, as everywhere else", async () => {
  using rig = await inTheLight(13, { sun: { centreElectronsPerSecond: 5e11 } });
  const outcome = await rig.run(tuneExposure, request);
  expect(outcome).toMatchObject({
    ended: "unsafe",
    failure: { code: "FAR_TOO_BRIGHT", unsafe: "brightness" },
  });
});

test("too faint at the longest exposure: says so and what to do", async () => {
  using rig = await inTheLight(14, {
    sun: { centreElectronsPerSecond: 2000 },
    camera: { exposureSecondsMax: 2 },
  });
  const outcome = await rig.run(tuneExposure, request);
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "LIGHT_TOO_FAINT" } });
});

test("a level between half and the target at the longest exposure is usable, with a note", async () => {
  using rig = await inTheLight(15);
  const free = await rig.run(tuneExposure, request);
  const { camera } = rig.rig;
  const exposureSeconds = { ...camera.limits.exposureSeconds, max: 0.75 * free.found!.exposureSeconds };
  rig.findings.lightRate = {};
  const outcome = await rig.run(tuneExposure, request, {
    rig: { camera: { ...camera, limits: { ...camera.limits, exposureSeconds } } },
  });
  expect(outcome.found).toMatchObject({ quality: "usable" });
  expect(outcome.found!.note).toContain("longest exposure");
});

test("far brighter than the rig ever was: unsafe, the filter may be missing", async () => {
  using rig = await inTheLight(16);
  await rig.run(tuneExposure, request);
  const rate = rig.findings.lightRate.diffuser!;
  const dimmer = { ...rate, edgeAduPerSecond: rate.edgeAduPerSecond / 6 };
  rig.findings.lightRate.diffuser = dimmer;
  // What was seen last may have been through cloud, and is no limit as long as the sky was ever clearer.
  expect(await rig.run(tuneExposure, request)).toMatchObject({ ended: "completed" });
  rig.findings.lightRate.diffuser = dimmer;
  rig.findings.clearestRate = { diffuser: dimmer };
  const outcome = await rig.run(tuneExposure, request);
  expect(outcome).toMatchObject({ ended: "unsafe", failure: { code: "FAR_TOO_BRIGHT" } });
  expect(outcome.failure!.message).toMatch(/[56]\.\d times brighter/);
});

test("a series so long that the Sun sinks too far is refused before it begins", async () => {
  using rig = await inTheLight(17);
  const outcome = await rig.run(tuneExposure, { ...request, seriesSeconds: 6 * 3600 });
  expect(outcome).toMatchObject({ ended: "failed", failure: { code: "SUN_MOVES_TOO_FAR" } });
});

test("a stop during an exposure ends it: stopped, camera idle", async () => {
  using rig = await inTheLight(18, { sun: { centreElectronsPerSecond: 50_000 } });
  const outcome = await rig.run(tuneExposure, request, {
    stop: { afterSeconds: 2, because: "the operator" },
  });
  expect(outcome.ended).toBe("stopped");
  expect(rig.world.camera.phase).toBe("idle");
  expect(rig.clock.pendingTimers).toBeLessThanOrEqual(1);
});
