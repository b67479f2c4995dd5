import { expect, test } from "vitest";
import {
  agentKilled,
  agentStopped,
  at,
  keeperKilled,
  openStage,
  type Stage,
  tinyScene,
} from "../stage/stage.ts";

/** From the moment on at which nobody holds the rig until it is covered, the cover's own travel left out [s]. */
const secondsMost = 30;

/** Seconds for which the tube was open after a moment of the world's clock. */
function openSince(stage: Stage): () => number {
  const fromMs = stage.clock.nowMs();
  let closedMs: number | undefined;
  stage.world.listen(() => {
    if (stage.world.cover.position === 0) closedMs ??= stage.clock.nowMs();
  });
  return () => ((closedMs ?? Number.POSITIVE_INFINITY) - fromMs) / 1000;
}

/** Calls back once the first frames of the flat have been taken. */
function inMidFlat(work: () => void) {
  let isDone = false;
  return ({ what, done }: { readonly what: string; readonly done: number }) => {
    if (isDone || what !== "flat frames" || done !== 2) return;
    isDone = true;
    work();
  };
}

/** It stands still off the Sun. */
function expectSafe({ world }: Stage): void {
  expect(world.cover.position).toBe(0);
  expect(world.mount.tracking).toBe(false);
  world.recordState();
  expect(world.history.at(-1)!.sunSeparationDegrees).toBeGreaterThan(15);
}

test.each(["indi", "alpaca"] as const)(
  "over %s the agent is killed in mid-flat: the keeper covers the telescope, turns it off the Sun, and leaves the rest to restore",
  async (protocol) => {
    await using stage = await openStage({ scene: tinyScene, protocol });
    let secondsOpen = () => 0;
    const killed = await stage.play({
      onProgress: inMidFlat(() => {
        stage.begin(at(0.01).begins(agentKilled()));
        secondsOpen = openSince(stage);
      }),
    });
    expect(killed.ended).toBe("killed");
    expect(await stage.untilKept()).toEqual(["took the rig"]);
    expect(secondsOpen()).toBeLessThan(secondsMost);
    expectSafe(stage);
    await stage.restore();
    expect(stage.differences()).toEqual([]);
  },
);

test("an agent that stands still in mid-flat: the rig is made safe meanwhile, and when it goes on it retreats and says why", async () => {
  await using stage = await openStage({ scene: tinyScene });
  let secondsOpen = () => 0;
  const run = await stage.play({
    onProgress: inMidFlat(() => {
      stage.begin(at(0.01).for(90, agentStopped()));
      secondsOpen = openSince(stage);
    }),
  });
  expect(secondsOpen()).toBeLessThan(secondsMost);
  expect(run).toMatchObject({ exitCode: 4, differences: [] });
  const said = run.record!.guardEvents.flatMap(({ reasons }) => reasons).join("; ");
  expect(said).toMatch(/the agent stood still for \d\d s|the keeper: it took the rig/);
});

test("without a keeper's help an agent that stood still retreats as soon as it goes on", async () => {
  await using stage = await openStage({ scene: tinyScene });
  const run = await stage.play({
    // Too short for the keeper, and too long for a guard.
    onProgress: inMidFlat(() => stage.begin(at(0.01).for(12, agentStopped()))),
  });
  expect(run).toMatchObject({ exitCode: 4, differences: [] });
  expect(run.record!.guardEvents[0]!.reasons).toEqual([
    expect.stringMatching(/^the agent stood still for 1\d s/),
  ]);
});

test("a run that ends well says goodbye, and the keeper touches nothing", async () => {
  await using stage = await openStage({ scene: tinyScene });
  expect(await stage.play()).toMatchObject({ ended: "completed", differences: [] });
  const moments = stage.world.history.length;
  expect(await stage.untilKept()).toEqual(["goodbye"]);
  await stage.clock.drive(stage.clock.sleep(60));
  expect(stage.world.history.length).toBe(moments);
});

test("the keeper is killed while the telescope is open: the agent retreats, and says so", async () => {
  await using stage = await openStage({ scene: tinyScene });
  const run = await stage.play({ onProgress: inMidFlat(() => stage.begin(at(0.01).begins(keeperKilled()))) });
  expect(run).toMatchObject({ exitCode: 4, differences: [] });
  expect(run.record!.guardEvents[0]!.reasons).toEqual(["the keeper: it is gone"]);
});

test("a keeper that is gone before: nothing is uncovered", async () => {
  await using stage = await openStage({ scene: tinyScene });
  const run = await stage.play({ faults: [at(0).begins(keeperKilled())] });
  expect(run).toMatchObject({ exitCode: 4, differences: [] });
  expect(run.tube.openSeconds).toBe(0);
});
