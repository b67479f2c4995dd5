import { expect, test } from "vitest";
import { listPersonDeeds } from "../../agent/service/deeds/person-deeds.ts";
import { Wishes } from "../../agent/service/deeds/wishes.ts";
import type { ServiceStatus } from "../../agent/service/service-status.ts";
import { agentKilled, at, checkWorld, openStage, type Stage, tinyScene } from "../stage/stage.ts";
import { imagesPlan, type StageFiles, serveOnStage } from "./serve-on-stage.ts";

const open = () => openStage({ scene: tinyScene, startUtc: "2026-06-21T10:00:00Z", seed: 5 });
const filesOf = (stage: Stage, when: string): StageFiles => ({
  schedule: `schedule: s\nentries:\n  - { entry: e1, plan: plan.yaml, ${when} }\n`,
  rigFile: stage.rigFile,
});
const statesOf = (statuses: readonly ServiceStatus[]) =>
  statuses.map(({ state }) => state).filter((state, index, all) => state !== all[index - 1]);

test("stopped by a person in mid-run: put back, not tried again, and held until somebody lets it go on, also by a new process", async () => {
  await using stage = await open();
  const again = "again: { timesMost: 3, afterMinutes: 1, afterFailures: [cut-short] }";
  const files = filesOf(stage, `when: { localTime: "10:01" }, ${again}`);
  const wishes = new Wishes();
  const stop = () => wishes.add({ utcMs: stage.clock.nowMs(), deed: "stop", who: "Ada" });
  stage.clock.setTimer(60 + 100, stop);
  const first = await serveOnStage(stage, files, { hours: 1, plan: imagesPlan, wishes });
  expect(first.attempts.map(({ ended }) => ended)).toEqual(["stopped"]);
  expect(statesOf(first.statuses)).toEqual(["starting", "standing by", "running", "held", "stopping"]);
  expect(first.statuses.find(({ state }) => state === "held")!.because).toMatch(
    /^Ada stopped what went on at 2026-06-21T10:0\dZ$/,
  );
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);

  const next = new Wishes();
  stage.clock.setTimer(1800, () => next.add({ utcMs: stage.clock.nowMs(), deed: "go-on", who: "Ben" }));
  const second = await serveOnStage(stage, files, { hours: 24, plan: imagesPlan, wishes: next });
  expect(statesOf(second.statuses)).toEqual([
    "starting",
    "held",
    "standing by",
    "running",
    "standing by",
    "stopping",
  ]);
  expect(second.attempts.map(({ ended }) => ended)).toEqual(["stopped", "done"]);
  expect(listPersonDeeds(stage.ledger, stage.rigFile.rig)).toMatchObject([
    { deed: "go-on", who: "Ben" },
    { deed: "stop", who: "Ada" },
  ]);
});

test("held between runs: at once, and what is due is left out; in mid-run what goes on is finished first", async () => {
  await using stage = await open();
  const files = filesOf(
    stage,
    'when: { everyHours: 1, fromLocalTime: "10:01", untilLocalTime: "13:00" }, lateMinutesMax: 10',
  );
  const wishes = new Wishes();
  const hold = () => wishes.add({ utcMs: stage.clock.nowMs(), deed: "hold", who: "Ada" });
  stage.clock.setTimer(90, hold);
  const seen: [number, string][] = [];
  const served = await serveOnStage(stage, files, {
    hours: 1.5,
    wishes,
    onStatus: ({ state }) => seen.push([stage.clock.nowMs(), state]),
  });
  expect(served.attempts.map(({ ended }) => ended)).toEqual(["done", "refused"]);
  expect(served.attempts[1]!.because).toMatch(/left out, because Ada held it/);
  await serveOnStage(stage, files, { hours: 0.1, wishes: goOnAfter(stage, 60) });
  const next = new Wishes();
  let heldAtMs = 0;
  stage.clock.setTimer(60, () => next.add({ utcMs: stage.clock.nowMs(), deed: "hold", who: "Ada" }));
  const fromMs = stage.clock.nowMs();
  await serveOnStage(stage, files, {
    hours: 0.1,
    wishes: next,
    onStatus: ({ state }) => {
      if (state === "held") heldAtMs ||= stage.clock.nowMs();
    },
  });
  expect(heldAtMs - fromMs).toBe(60_000);
});

function goOnAfter(stage: Stage, seconds: number): Wishes {
  const wishes = new Wishes();
  stage.clock.setTimer(seconds, () => wishes.add({ utcMs: stage.clock.nowMs(), deed: "go-on", who: "Ben" }));
  return wishes;
}

test("held by a person and killed before: the rig is put back all the same, then nothing begins", async () => {
  await using stage = await open();
  const files = filesOf(stage, 'when: { localTime: "10:01" }, again: { timesMost: 3, afterMinutes: 1 }');
  const wishes = new Wishes();
  const hold = () => wishes.add({ utcMs: stage.clock.nowMs(), deed: "hold", who: "Ada" });
  hold();
  const first = await serveOnStage(stage, files, { hours: 0.01, wishes });
  expect(statesOf(first.statuses)).toContain("held");
  await serveOnStage(stage, files, { hours: 0.01, wishes: goOnAfter(stage, 1) });
  const killed = await serveOnStage(stage, files, {
    hours: 5,
    faults: [at(60 + 100).begins(agentKilled())],
    plan: imagesPlan,
  });
  expect(killed.runs).toBeUndefined();
  const held = new Wishes();
  held.add({ utcMs: stage.clock.nowMs(), deed: "hold", who: "Ada" });
  const after = await serveOnStage(stage, files, { hours: 1, plan: imagesPlan, wishes: held });
  expect(statesOf(after.statuses)).toEqual(["starting", "recovering", "held", "stopping"]);
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);
});
