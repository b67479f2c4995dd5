import { join } from "node:path";
import { expect, test } from "vitest";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { at } from "../../agent/rehearsal/faults/fault.ts";
import { rain } from "../../agent/rehearsal/faults/world-faults.ts";
import { FitsFile } from "../../drivers/formats/fits-file.ts";
import { openStage, type Stage } from "../stage/stage.ts";
import { driftPlanText, driftScene } from "./drift-scene.ts";
import { flatOfRun } from "./flat-of-run.ts";

/** Where the Sun truly stood when each exposure of the drift began [degrees from the line of sight]. */
function separations(run: Stage, sinceMs: number): number[] {
  return run.world.history
    .filter(
      ({ part, exposing, atMs, coverOpen }) =>
        part === "camera" && exposing && coverOpen === 1 && atMs > sinceMs,
    )
    .map(({ sunSeparationDegrees }) => sunSeparationDegrees);
}

function headerOf(run: Stage, file: string) {
  using fits = FitsFile.open(join(run.folder, "run", file));
  return fits.image().header;
}

// Over INDI it is played by the shipped plan, `test/agent/commands/simulated-rigs.test.ts`.
test("a flat by drift over Alpaca: good, true to the scene, the limb never in a frame, the rig as found", async () => {
  await using run = await openStage({
    scene: driftScene,
    plan: driftPlanText,
    protocol: "alpaca",
  });
  let startedMs = Number.POSITIVE_INFINITY;
  run.onProgress = ({ what }) => {
    if (what === "flat frames") startedMs = Math.min(startedMs, run.clock.nowMs());
  };
  const report = await run.run();
  expect(report.failure).toBeUndefined();
  const { found, errorOverExpected } = flatOfRun(run, report);
  expect(found).toMatchObject({ verdict: "good", blur: "drift", reasons: [] });
  expect(errorOverExpected).toBeLessThan(1.3);
  const flat = headerOf(run, "flat-master.fits");
  expect(flat.comment("EGAIN")).toContain("measured on two frames at rest");
  expect(flat.number("EGAIN")! / run.simulator.painter.truth({ gain: 0 }).electronsPerAdu).toBeCloseTo(1, 1);
  expect(flat.number("RDNOISE")).toBeGreaterThan(0);
  for (const id of ["photonLimit", "planeUnsure"])
    expect(found.proof.figures.find((figure) => figure.id === id)).toMatchObject({ verdict: "good" });
  // Before it was measured there is the driver's word.
  const dark = headerOf(run, "dark-master.fits");
  expect(dark.comment("EGAIN")).toBe("[e-/adu] as the camera's driver states it");
  expect(dark.has("RDNOISE")).toBe(false);
  const drifted = separations(run, startedMs);
  expect(drifted.length).toBeGreaterThan(35);
  // The frame's corner lies 0.091 degrees from its middle, the limb 0.262 from the disc's.
  expect(Math.max(...drifted) + 0.091).toBeLessThan(0.93 * 0.262);
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
});

test("rain while the mount drifts: cover closed, off the Sun, the dome shut, all else as it was; exit code 4", async () => {
  await using run = await openStage({
    scene: driftScene,
    plan: driftPlanText,
  });
  run.onProgress = ({ what, done }) => {
    if (what !== "flat frames" || done < 3) return;
    run.onProgress = () => {};
    run.begin(at(1).begins(rain(5)));
  };
  const report = await run.run();
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  expect(run.differences()).toEqual(["dome.shutterOpen was 1 and is 0"]); // shut against the rain
  expect(checkWorld(run.world)).toEqual([]);
});
