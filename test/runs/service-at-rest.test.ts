import { expect, test } from "vitest";
import type { ServiceStatus } from "../../agent/service/service-status.ts";
import { at, clockStepped, openStage, type Stage, tinyScene, worldFaults } from "../stage/stage.ts";
import { type StageFiles, serveOnStage } from "./serve-on-stage.ts";

/** 10:00 by the clock at the site, which is that of UTC. */
const openedAt = "2026-06-21T10:00:00Z";
const open = () => openStage({ scene: tinyScene, startUtc: openedAt, seed: 5 });
const filesOf = (stage: Stage, when: string): StageFiles => ({
  schedule: `schedule: s\nentries:\n  - { entry: e1, plan: plan.yaml, when: ${when} }\n`,
  rigFile: stage.rigFile,
});
const rowsOf = (status: ServiceStatus | undefined) =>
  Object.fromEntries((status?.rest ?? []).map(({ what, verdict }) => [what, verdict]));
const lastAtRest = (statuses: readonly ServiceStatus[]) =>
  statuses.findLast(({ rest }) => rest !== undefined);

test("between runs the rig is looked at and nothing of it is changed", async () => {
  await using stage = await open();
  const { statuses } = await serveOnStage(stage, filesOf(stage, '{ localTime: "12:00" }'), { hours: 1 });
  expect(rowsOf(lastAtRest(statuses))).toEqual({
    cover: "as it should be",
    mount: "as it should be",
    "mount's clock": "as it should be",
    dome: "not so", // its shutter stands open in this scene
    weather: "as it should be",
    disk: "as it should be",
    clock: "as it should be",
  });
  expect(statuses.some(({ state }) => state === "held")).toBe(false);
  expect(stage.differences()).toEqual([]);
  const moved = stage.world.history.filter(({ part }) => part === "cover" || part === "mount");
  expect(moved.filter(({ what }) => what !== "commanded")).toEqual([]);
});

test("told to stop in the middle of a look: the links are given back before it ends", async () => {
  for (const seconds of [0.01, 0.1, 0.3, 1, 3]) {
    await using stage = await open();
    await serveOnStage(stage, filesOf(stage, '{ localTime: "12:00" }'), { hours: seconds / 3600 });
    expect(stage.differences(), `after ${seconds} s`).toEqual([]);
  }
});

test("somebody opens the cover towards the Sun between runs: held, nothing is begun, and it goes on when it reads closed", async () => {
  await using stage = await open();
  const { mount } = stage.world;
  mount.unpark();
  mount.slewTo(stage.world.sun(), true);
  await stage.clock.drive(stage.clock.sleep(120));
  const moves = (to: number) => ({
    name: `a person moves the cover to ${to}`,
    begin: () => {
      stage.world.cover.moveTo(to);
      return undefined;
    },
  });
  const faults = [at(1200).begins(moves(1)), at(5400).begins(moves(0))];
  const files = filesOf(stage, '{ localTime: "11:00" }, lateMinutesMax: 90');
  const { statuses, attempts } = await serveOnStage(stage, files, { hours: 2.2, faults });
  const held = statuses.find(({ state }) => state === "held")!;
  expect(held.because).toMatch(/^between runs, cover: it reads open, and it points 0° from the Sun$/);
  expect(held.whatToDo).toMatch(/close the cover.*Never look through the telescope/);
  expect(held.sinceUtcMs).toBeLessThan(Date.parse("2026-06-21T10:45:00Z"));
  expect(attempts.map(({ ended }) => ended)).toEqual(["done"]);
  expect(attempts[0]!.begunUtcMs).toBeGreaterThan(Date.parse("2026-06-21T11:30:00Z"));
});

test("rain, and servers that are switched off, are told and hold nothing", async () => {
  await using stage = await open();
  const files = filesOf(stage, '{ localTime: "23:00" }');
  const rain = at(600).for(1800, worldFaults.rain(4));
  const wet = await serveOnStage(stage, files, { hours: 0.6, faults: [rain] });
  expect(rowsOf(lastAtRest(wet.statuses)).weather).toBe("not so");
  stage.simulator.indiServer.takeDown(1e6);
  const off = await serveOnStage(stage, files, { hours: 0.5 });
  expect(rowsOf(lastAtRest(off.statuses))).toMatchObject({ rig: "not known", disk: "as it should be" });
  expect(off.statuses.some(({ state }) => state === "held")).toBe(false);
});

test("a clock that was set back by an hour: nothing is begun twice, and it goes on when that hour is over", async () => {
  await using stage = await open();
  const files = filesOf(stage, '{ everyHours: 0.5, fromLocalTime: "09:00", untilLocalTime: "20:00" }');
  const back = at(2400).begins(clockStepped(-1));
  const { statuses, attempts } = await serveOnStage(stage, files, { hours: 2.2, faults: [back] });
  const held = statuses.find(({ state }) => state === "held")!;
  expect(held.because).toMatch(
    /clock reads 2026-06-21 09:4\d UTC, (59|60) minutes before this service last looked/,
  );
  const begun = attempts.map(({ begunUtcMs }) => begunUtcMs);
  expect(begun).toEqual(begun.toSorted((a, b) => a - b));
  expect(new Set(attempts.map(({ occasion }) => occasion)).size).toBe(attempts.length);
  expect(statuses.at(-2)).toMatchObject({ state: "standing by" });
  expect(rowsOf(lastAtRest(statuses)).clock).toBe("not so"); // it is still told that it was set
});
