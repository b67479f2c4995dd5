import { expect, test } from "vitest";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import { at, type ScriptedFault } from "../../agent/rehearsal/faults/fault.ts";
import { driverDeath, linkCut } from "../../agent/rehearsal/faults/server-faults.ts";
import {
  cloud,
  filterMissing,
  mountNotTracking,
  rain,
  stuck,
} from "../../agent/rehearsal/faults/world-faults.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { Random } from "../../drivers/kit/random.ts";
import { tinyScene } from "../stage/scenes.ts";
import { openStage, type Stage } from "../stage/stage.ts";

/** For what does not begin in mid-flat, which is over sooner with larger pixels. */
const startTiny = () => openStage({ scene: tinyScene });

/** Plays the script once the flat has three of its frames. */
function playInMidFlat(run: Stage, ...script: ScriptedFault[]): void {
  run.onProgress = ({ what, done }) => {
    if (what !== "flat frames" || done < 3) return;
    run.onProgress = () => {};
    run.begin(...script);
  };
}

/** By the world's own account: as it was found, and nothing happened on the way that must never happen. */
function expectAsFoundAndSafe(run: Stage, butFor: readonly string[] = []): void {
  expect(run.differences()).toEqual(butFor);
  expect(checkWorld(run.world)).toEqual([]);
  expect(run.ledger.unfinishedRuns("scene")).toEqual([]);
}

function expectStepUnderWay(report: RunReport, kind: string, ended: string): void {
  expect(report.record.steps.at(-1)).toMatchObject({ kind, ended });
}

test("a clear day: centred, no leak, flat and images taken, the rig as it was found", async () => {
  await using run = await openStage();
  const report = await run.run();
  expect(report).toMatchObject({ ended: "completed" });
  expect(report.record.steps.map((step) => [step.kind, step.ended])).toEqual([
    ["centre", "completed"],
    ["leak-check", "completed"],
    ["flat", "completed"],
    ["images", "completed"],
  ]);
  expectAsFoundAndSafe(run);
});

test("the second run of a day knows the first: fewer test frames", async () => {
  await using run = await startTiny();
  const testFrames = (report: RunReport) =>
    report.record.timeline.filter((entry) => entry.event === "test frame").length;
  const first = testFrames(await run.run());
  const second = await run.run({ name: "second" });
  expect(second.ended).toBe("completed");
  expect(testFrames(second)).toBeLessThan(first);
  expectAsFoundAndSafe(run);
});

test("rain in mid-flat: cover closed, off the Sun, the dome that was found open shut, all else as it was; exit code 4", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).begins(rain(5)));
  const report = await run.run();
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  expectStepUnderWay(report, "flat", "stopped");
  expectAsFoundAndSafe(run, ["dome.shutterOpen was 1 and is 0"]);
  expect(report.notAsFound).toMatchObject([{ role: "dome", key: "shutter", state: "keptSafe" }]);
});

test("a cloud in mid-flat is no danger: the rig is as it was found whatever becomes of the flat", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).for(20, cloud(0.3)));
  const report = await run.run();
  expect(["completed", "failed"]).toContain(report.ended);
  expectAsFoundAndSafe(run);
});

test("the link is cut in mid-flat: the step fails or goes on, the rig is put back over a new link", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).begins(linkCut()));
  const report = await run.run();
  expect([0, 3, 5, 7]).toContain(report.exitCode);
  expectAsFoundAndSafe(run);
});

test("the camera's driver dies in mid-flat and comes back: put back", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).begins(driverDeath("Scene Camera")));
  const report = await run.run();
  expect([0, 3, 5, 7]).toContain(report.exitCode);
  expect(report.notAsFound).toEqual([]);
  expect(run.differences()).toEqual([]);
});

test("the filter is missing: the first light is too bright, the cover closes at once, exit code 4", async () => {
  await using run = await startTiny();
  run.world.filterFitted = false;
  const report = await run.run();
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, failure: { code: "SUN_TOO_BRIGHT" } });
  expectStepUnderWay(report, "centre", "unsafe");
  expectAsFoundAndSafe(run);
});

test("the filter falls off in mid-flat: no unfiltered light for longer than a moment, exit code 4", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).begins(filterMissing()));
  const report = await run.run();
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4 });
  expectAsFoundAndSafe(run);
});

test("the cover sticks half way while it opens: the device's failure, and what is left is listed", async () => {
  await using run = await startTiny();
  const free = run.begin(at(0).begins(stuck("cover", 0.5)));
  const report = await run.run();
  expect(report).toMatchObject({ exitCode: 6, leftOnRig: { cover: "unknown" } });
  // It claims to move for ever: where it is can't be known, and all else of it is put back.
  expect(report.notAsFound).toMatchObject([
    { role: "mount", key: "parked", state: "keptSafe" },
    { role: "cover", key: "position", state: "different" },
  ]);
  // Off the Sun and standing, but not carried back to its park with an open tube.
  expect(run.world.mount.tracking).toBe(false);
  expect(run.world.history.at(-1)!.sunSeparationDegrees).toBeGreaterThan(25);
  free();
  const [recovered] = await run.restore();
  expect(recovered!.settings.every((setting) => setting.state === "same")).toBe(true);
  expect(run.differences()).toEqual([]);
});

test("the mount's motors stall in mid-flat: noticed or not, the rig is as it was found", async () => {
  await using run = await openStage();
  playInMidFlat(run, at(1).for(60, mountNotTracking()));
  await run.run();
  expectAsFoundAndSafe(run);
});

test("a rig found with its cover open and tracking is left so after a good run", async () => {
  await using run = await openStage({
    scene: {
      ...tinyScene,
      startsWith: { ...tinyScene.startsWith, cover: "open", diffuserInPlace: false },
      mount: { ...tinyScene.mount, startsParked: false, startsTracking: true },
    },
  });
  const report = await run.run();
  expect(report.ended).toBe("completed");
  expect(run.differences()).toEqual([]);
});

const seed = 20260621;
test.each(Array.from({ length: 12 }, (_, i) => i))(
  `Ctrl-C at a random moment (seed ${seed}, draw %i): always put back, exit code 130`,
  async (draw) => {
    const random = new Random(seed).fork(`stop ${draw}`);
    await using run = await startTiny();
    const afterSeconds = random.between(0, 230);
    run.clock.setTimer(afterSeconds, () => run.stop());
    const report = await run.run();
    expect(report.exitCode, `stopped after ${afterSeconds} s`).toBe(130);
    expectAsFoundAndSafe(run);
  },
);
