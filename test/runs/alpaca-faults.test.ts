import { expect, test } from "vitest";
import { checkWorld } from "../../agent/rehearsal/checkers/check-world.ts";
import {
  cutReply,
  decimalCommas,
  disconnectedByAnother,
  htmlError,
  idsMissing,
  serverRestart,
  stalledReply,
} from "../../agent/rehearsal/faults/alpaca-faults.ts";
import { at, type Fault } from "../../agent/rehearsal/faults/fault.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { tinyScene } from "../stage/scenes.ts";
import { openStage, type Stage } from "../stage/stage.ts";

/** Begins in the middle of the exposure of the flat's fourth or fifth frame. */
function playInMidExposure(run: Stage, fault: Fault): void {
  run.onProgress = ({ what, done }) => {
    if (what !== "flat frames" || done < 3) return;
    run.onProgress = () => {};
    const stop = run.world.listen((moment) => {
      if (moment.what !== "exposureStarted") return;
      stop();
      run.begin(at(0.5 * Number.parseFloat(moment.detail!)).begins(fault));
    });
  };
}

const start = () => openStage({ scene: tinyScene, protocol: "alpaca" });

/** Restored by the world's own account, whatever became of the plan; and what did not work is said. */
function expectRestored(run: Stage, report: RunReport, allowed: readonly number[]): void {
  expect(allowed).toContain(report.exitCode);
  expect(report.notAsFound).toEqual([]);
  expect(run.differences()).toEqual([]);
  expect(checkWorld(run.world)).toEqual([]);
  expect(run.ledger.unfinishedRuns("scene")).toEqual([]);
  if (report.exitCode !== 0) expect(report.record.failure?.message).toMatch(/\w+: \w+/);
}

const wasAborted = (run: Stage) =>
  run.world.history.some(({ part, what }) => part === "camera" && what === "exposureAborted");

test.each([
  ["the server restarts in mid-exposure", () => serverRestart(2), [0]],
  ["the server is away for 20 s", () => serverRestart(20), [0, 5]],
  ["another client disconnects the camera", () => disconnectedByAnother("camera/0"), [0]],
])("%s: the exposure is lost, the run recovers or ends restored", async (_, fault, exitCodes) => {
  await using run = await start();
  playInMidExposure(run, fault());
  expectRestored(run, await run.run(), exitCodes);
  expect(wasAborted(run)).toBe(true);
});

test("another client disconnects the mount in mid-flat: connected again", async () => {
  await using run = await start();
  playInMidExposure(run, disconnectedByAnother("telescope/0"));
  expectRestored(run, await run.run(), [0]);
});

const image = { device: "camera/0", member: "imagearray" };
test.each([
  ["an error page instead of an image", () => htmlError(image), [0, 5]],
  ["error pages from the mount", () => htmlError({ device: "telescope/0" }, 3), [0, 5]],
  ["a reply cut in the middle of an image", () => cutReply(image), [0]],
  ["an image that stalls for 30 s", () => stalledReply(image, 30), [0, 5]],
  [
    "a command of the camera that stalls for 30 s",
    () => stalledReply({ member: "startexposure" }, 30),
    [0, 5],
  ],
  [
    "a reading of the cover that stalls for 30 s",
    () => stalledReply({ device: "covercalibrator/0" }, 30),
    [0, 5],
  ],
  ["decimal commas from the camera", () => decimalCommas({ device: "camera/0" }, 20), [0, 5]],
])("%s: the run recovers, or ends restored with a message", async (_, fault, exitCodes) => {
  await using run = await start();
  const spoiling = fault();
  playInMidExposure(run, spoiling);
  expectRestored(run, await run.run(), exitCodes);
  expect(spoiling.struckCount).toBeGreaterThan(0);
});

test("a server that never gives transaction ids: nothing is missed", async () => {
  await using run = await start();
  run.begin(at(0).begins(idsMissing()));
  expectRestored(run, await run.run(), [0]);
});

test("decimal commas from the start: refused before anything moves, with the device and the reply named", async () => {
  await using run = await start();
  decimalCommas({}).begin({ world: run.world, alpacaServer: run.simulator.alpacaServer });
  const report = await run.run();
  expect(report.exitCode).not.toBe(0);
  expect(report.record.failure?.message).toContain("not JSON");
  expect(run.differences()).toEqual([]);
  const done = run.world.history.filter(({ part }) => part !== "sky" && part !== "agent");
  expect(done.filter(({ detail }) => !/: (dis)?connect$/.test(detail ?? ""))).toEqual([]);
});
