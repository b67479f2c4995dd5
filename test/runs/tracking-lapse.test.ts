import { expect, test } from "vitest";
import { overlaps } from "../../agent/procedures/time-span.ts";
import { describeRun } from "../../agent/run/record/describe-run.ts";
import { foundBy } from "../../agent/run/record/found-in-record.ts";
import { at, openStage, tinyScene, worldFaults } from "../stage/stage.ts";

/** A camera that takes its time: a series lasts longer than the lapse. */
const slowScene = { ...tinyScene, camera: { ...tinyScene.camera, readoutSeconds: 1 } };

/** Somebody switches tracking off for 20 s as so many frames of that name are done. */
async function lapseDuring(name: string, frames: number) {
  await using stage = await openStage({ scene: slowScene, seed: 3 });
  stage.onProgress = ({ what, done }) => {
    if (what !== name || done !== frames) return;
    stage.onProgress = () => {};
    stage.begin(at(0.5).for(20, worldFaults.trackingOff()));
  };
  const plan = `plan: lapse
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 40 }
  - images: { frames: 40 }
`;
  return await stage.run({ plan });
}

test("tracking is lost for less than its grace among images: they are named, and the run is done", async () => {
  const report = await lapseDuring("images", 5);
  const [lapse, ...others] = report.record.lapses.filter(({ watch }) => watch === "tracking");
  const { files, takenWithin } = report.record.steps.flatMap((step) => foundBy(step, "images") ?? [])[0]!;
  const hit = files.filter((_, index) => overlaps(takenWithin[index]!, lapse!));
  expect(report).toMatchObject({ ended: "completed", exitCode: 0 });
  expect(others).toEqual([]);
  expect(hit.length).toBeGreaterThan(5);
  expect(hit.length).toBeLessThan(35);
  const name = (file: string | undefined) => file?.split("/").at(-1);
  expect(describeRun(report).happened).toContain(
    `the Sun is not where it should be in ${name(hit[0])} to ${name(hit.at(-1))}`,
  );
});

test("tracking is lost behind the diffuser: said, and harmless", async () => {
  const report = await lapseDuring("flat frames", 3);
  expect(report).toMatchObject({ ended: "completed", exitCode: 0 });
  expect(report.record.timeline.map(({ event }) => event)).toContain("a condition is not true");
  expect(describeRun(report).happened).toContain("the flat by diffuser does not depend on it");
});
