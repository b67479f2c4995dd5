import { expect, test } from "vitest";
import { fitPlane } from "../../agent/imaging/numerics/plane-fit.ts";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { at } from "../../agent/rehearsal/faults/fault.ts";
import { rain, stuck } from "../../agent/rehearsal/faults/world-faults.ts";
import type { readCcdImage } from "../../drivers/formats/ccd-image.ts";
import { openStage } from "../stage/stage.ts";
import { defocusPlanText, defocusScene } from "./defocus-scene.ts";
import { flatOfRun } from "./flat-of-run.ts";

/** Depth of focus, ± 2 λ N², in steps of the scene's focuser. */
const { optics, focuser } = defocusScene;
const depthSteps =
  (2 * (optics.wavelengthNm / 1000) * (optics.focalLengthMm / optics.apertureMm) ** 2) /
  focuser.micronPerStep;

/** Peak to peak across the frame of the plane by which a flat differs from the truth. */
function gradientError(master: ReturnType<typeof readCcdImage>, truth: Float32Array): number {
  const { widthPx, heightPx, data, mask } = master;
  const points = Array.from(data, (value, i) => ({
    x: (i % widthPx) / widthPx - 0.5,
    y: Math.floor(i / widthPx) / heightPx - 0.5,
    value: value / truth[i]! - 1,
  })).filter((_, i) => mask![i] === 0);
  const { slopeX, slopeY } = fitPlane(points, 1)!;
  return Math.hypot(slopeX, slopeY);
}

// Over INDI it is played by the shipped plan, `test/agent/commands/simulated-rigs.test.ts`.
test("a flat by defocus over Alpaca: good, true to the scene, its plane too, focus and the rig as found", async () => {
  await using run = await openStage({
    scene: defocusScene,
    plan: defocusPlanText,
    protocol: "alpaca",
  });
  const load = run.world.focuser.load;
  let farthest = 0;
  run.onProgress = () => {
    farthest = Math.max(farthest, Math.abs(run.world.focuser.position - 4000));
  };
  const report = await run.run();
  expect(report.failure).toBeUndefined();
  const { found, master, truth, errorOverExpected } = flatOfRun(run, report);
  expect(found).toMatchObject({ verdict: "good", blur: "defocus", reasons: [] });
  expect(errorOverExpected).toBeLessThan(1.2);
  expect(gradientError(master, truth)).toBeLessThan(0.002);
  const { leftover, noise } = found.defocus!;
  for (const { rms } of leftover) expect(rms).toBeLessThan(noise);
  expect(farthest).toBeGreaterThan(500);
  expect(Math.abs(run.world.focuser.load - load)).toBeLessThan(depthSteps);
  const kept = found.proof.figures.find(({ id }) => id === "focusKept")!.value;
  expect(Math.abs(kept - 1)).toBeLessThan(0.06);
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
});

test("rain while the rig is out of focus: cover closed, off the Sun, the dome shut, focus and all else as it was; exit code 4", async () => {
  await using run = await openStage({
    scene: defocusScene,
    plan: defocusPlanText,
  });
  run.onProgress = ({ what, done }) => {
    if (what !== "looking from round about" || done < 1) return;
    run.onProgress = () => {};
    run.begin(at(1).begins(rain(5)));
  };
  const report = await run.run();
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  expect(run.differences()).toEqual(["dome.shutterOpen was 1 and is 0"]); // shut against the rain
  expect(checkWorld(run.world)).toEqual([]);
});

test("the focuser jams for good on its way out: covered, and what is not restored is told; exit code 6", async () => {
  await using run = await openStage({
    scene: defocusScene,
    plan: defocusPlanText,
  });
  run.begin(at(0).begins(stuck("focuser", 4800)));
  const report = await run.run();
  expect(report).toMatchObject({ exitCode: 6, leftOnRig: { cover: "closed" } });
  expect(JSON.stringify(report.record)).toContain("focuser");
});
