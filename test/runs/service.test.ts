import { expect, test } from "vitest";
import type { ServiceStatus } from "../../agent/service/service-status.ts";
import {
  agentKilled,
  at,
  checkWorld,
  openStage,
  type Stage,
  tinyScene,
  worldFaults,
} from "../stage/stage.ts";
import { imagesPlan, type StageFiles, serveOnStage } from "./serve-on-stage.ts";

/** 10:00 by the clock at the site, which is that of UTC; the Sun is high until the afternoon. */
const openedAt = "2026-06-21T10:00:00Z";

const filesOf = (stage: Stage, ...entries: string[]): StageFiles => ({
  schedule: `schedule: s\nentries:\n${entries.map((one, n) => `  - { entry: e${n + 1}, plan: plan.yaml, ${one} }\n`).join("")}`,
  rigFile: stage.rigFile,
});

const statesOf = (statuses: readonly ServiceStatus[]) =>
  statuses.map(({ state }) => state).filter((state, index, all) => state !== all[index - 1]);

const open = () => openStage({ scene: tinyScene, startUtc: openedAt, seed: 5 });

test("an entry begins when it is due, the next day again, and between them it is said why nothing is done", async () => {
  await using stage = await open();
  const files = filesOf(stage, 'when: { localTime: "10:30" }');
  const served = await serveOnStage(stage, files, { hours: 26 });
  expect(served.runs).toBe(2);
  expect(served.attempts).toMatchObject([
    { entry: "e1", occasion: "2026-06-21", ended: "done", exitCode: 0 },
    { entry: "e1", occasion: "2026-06-22", ended: "done", exitCode: 0 },
  ]);
  expect(served.attempts[0]!.begunUtcMs).toBe(Date.parse("2026-06-21T10:30:00Z"));
  expect(statesOf(served.statuses)).toEqual([
    "starting",
    "standing by",
    "running",
    "standing by",
    "running",
    "standing by",
    "stopping",
  ]);
  const still = served.statuses.filter(({ state }) => state === "standing by");
  expect(still.every(({ because, untilUtcMs }) => because !== "" && untilUtcMs !== undefined)).toBe(true);
  expect(still[0]).toMatchObject({
    because: "the next thing, e1, is due",
    untilUtcMs: Date.parse("2026-06-21T10:30:00Z"),
  });
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);
});

test("killed in mid-run: a new process puts the rig back before anything else, and tries again as the entry says", async () => {
  await using stage = await open();
  const again = "again: { timesMost: 1, afterMinutes: 5 }";
  const files = filesOf(stage, `when: { localTime: "10:01" }, ${again}`);
  const kill = at(60 + 100).begins(agentKilled());
  const killed = await serveOnStage(stage, files, { hours: 5, faults: [kill], plan: imagesPlan });
  expect(killed.runs).toBeUndefined();
  expect(killed.attempts).toMatchObject([{ entry: "e1", begunUtcMs: Date.parse("2026-06-21T10:01:00Z") }]);
  expect(killed.attempts[0]!.ended).toBeUndefined();
  const after = await serveOnStage(stage, files, { hours: 2, plan: imagesPlan });
  expect(statesOf(after.statuses).slice(0, 4)).toEqual(["starting", "recovering", "standing by", "running"]);
  expect(after.attempts.map(({ ended }) => ended)).toEqual(["cut-short", "done"]);
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);
});

test("SIGTERM in mid-run: the rig is put back, and a restart goes on with what was cut short, not with what was done", async () => {
  await using stage = await open();
  const again = "again: { timesMost: 1, afterMinutes: 5 }";
  const files = filesOf(stage, 'when: { localTime: "10:00" }', `when: { localTime: "10:30" }, ${again}`);
  const first = await serveOnStage(stage, files, { hours: 0.51 });
  expect(first.attempts.map(({ entry, ended }) => [entry, ended])).toEqual([
    ["e1", "done"],
    ["e2", "cut-short"],
  ]);
  expect(stage.differences()).toEqual([]);
  const second = await serveOnStage(stage, files, { hours: 2 });
  expect(second.runs).toBe(1);
  expect(second.attempts.map(({ entry, ended }) => [entry, ended])).toEqual([
    ["e1", "done"],
    ["e2", "cut-short"],
    ["e2", "done"],
  ]);
});

test("what was due while no service was on is left out with its reason, unless it may still begin", async () => {
  await using stage = await open();
  const files = filesOf(
    stage,
    'when: { localTime: "11:00" }, lateMinutesMax: 30',
    'when: { localTime: "11:30" }, lateMinutesMax: 60',
  );
  await serveOnStage(stage, files, { hours: 0.1 });
  await stage.clock.drive(stage.clock.sleep(2 * 3600)); // power is out until a little after noon
  const { attempts } = await serveOnStage(stage, files, { hours: 1 });
  expect(attempts).toMatchObject([
    {
      entry: "e1",
      ended: "refused",
      because: "e1 was left out: it may begin 30 minutes late at most, and was not begun by then",
    },
    { entry: "e2", ended: "done" },
  ]);
});

test("cloud comes and goes: the rig retreats, and the entry is tried again after its wait", async () => {
  await using stage = await open();
  const again = "again: { timesMost: 2, afterMinutes: 20 }";
  const files = filesOf(stage, `when: { localTime: "10:05" }, lateMinutesMax: 90, ${again}`);
  const rain = at(300 + 60).for(600, worldFaults.rain(5));
  const { attempts, reports } = await serveOnStage(stage, files, {
    hours: 3,
    faults: [rain],
    plan: imagesPlan,
  });
  expect(attempts.map(({ ended }) => ended)).toEqual(["safety", "done"]);
  expect(attempts[1]!.begunUtcMs - attempts[0]!.endedUtcMs!).toBe(20 * 60_000);
  expect(reports.map(({ exitCode }) => exitCode)).toEqual([4, 0]);
  expect(stage.differences()).toEqual(["dome.shutterOpen was 1 and is 0"]); // it rained: it is left shut on purpose
  expect(checkWorld(stage.world)).toEqual([]);
});

test("far too much light: held until a person confirms the filter in the rig file, then it goes on by itself", async () => {
  await using stage = await open();
  const again = "again: { timesMost: 5, afterMinutes: 10 }";
  const files = filesOf(stage, `when: { localTime: "10:05" }, lateMinutesMax: 300, ${again}`);
  const lost = at(250).for(3600, worldFaults.filterMissing());
  const first = await serveOnStage(stage, files, { hours: 2, faults: [lost], plan: imagesPlan });
  expect(first.runs).toBe(1);
  const held = first.statuses.findLast(({ state }) => state === "held")!;
  expect(held.because).toContain("nobody has confirmed the Sun filter since");
  expect(held.whatToDo).toContain("lastConfirmed");
  const hour = Date.parse(openedAt) + 2.5 * 3_600_000;
  files.rigFile = {
    ...files.rigFile,
    sunFilter: {
      ...files.rigFile.sunFilter,
      lastConfirmed: new Date(hour).toISOString().replace(":00.000Z", "Z"),
    },
  };
  await stage.clock.drive(stage.clock.sleep(3600));
  const after = await serveOnStage(stage, files, { hours: 1, plan: imagesPlan });
  expect(after.attempts.map(({ ended }) => ended)).toEqual(["safety", "done"]);
});

test("a day under cloud: the clear sky after it is not taken for a lost filter", async () => {
  await using stage = await open();
  const files = filesOf(
    stage,
    'when: { localTime: "10:05" }',
    'when: { localTime: "11:00" }',
    'when: { localTime: "12:00" }',
  );
  const cloud = at(0.9 * 3600).for(1800, worldFaults.cloud(0.14)); // seven times less light
  const { attempts } = await serveOnStage(stage, files, { hours: 2.5, faults: [cloud], plan: imagesPlan });
  expect(attempts.map(({ ended, because }) => ended === "done" || because)).toEqual([true, true, true]);
});

test("the first day was under cloud: a person who finds the filter in order is believed", async () => {
  await using stage = await open();
  const files = filesOf(
    stage,
    'when: { localTime: "10:05" }',
    'when: { localTime: "11:00" }',
    'when: { localTime: "12:30" }',
  );
  const cloud = at(0).for(1800, worldFaults.cloud(0.14));
  const confirmed = at(2 * 3600).begins({
    name: "a person inspects the filter",
    begin: () => {
      const { rigFile } = files;
      files.rigFile = {
        ...rigFile,
        sunFilter: { ...rigFile.sunFilter, lastConfirmed: "2026-06-21T12:00Z" },
      };
      return undefined;
    },
  });
  const faults = [cloud, confirmed];
  const { attempts } = await serveOnStage(stage, files, { hours: 3, faults, plan: imagesPlan });
  expect(attempts.map(({ ended }) => ended)).toEqual(["done", "safety", "done"]);
});

test("a rig that could not be put back is held, also by a new process; a person's acceptance lets it go on", async () => {
  await using stage = await open();
  const files = filesOf(stage, 'when: { localTime: "10:05" }', 'when: { localTime: "11:00" }');
  const stuck = at(300 + 90).begins(worldFaults.stuck("focuser"));
  const jam = at(300 + 90).begins(worldFaults.stuck("cover"));
  const first = await serveOnStage(stage, files, { hours: 0.8, faults: [stuck, jam], plan: imagesPlan });
  expect(first.attempts).toMatchObject([{ entry: "e1", ended: "not-restored", exitCode: 6 }]);
  const held = first.statuses.find(({ state }) => state === "held");
  expect(held).toMatchObject({ whatToDo: expect.stringContaining("evenfield restore") });
  // Three tries, a minute and ten after the one before, and no more by any process.
  const tries = first.statuses.filter(({ because }) => because.startsWith("what the run"));
  expect(tries).toHaveLength(3);
  expect(held!.sinceUtcMs - tries[0]!.sinceUtcMs).toBeGreaterThan(11 * 60_000);
  const second = await serveOnStage(stage, files, { hours: 0.5 });
  expect(second.runs).toBe(0);
  const long = await serveOnStage(stage, files, { hours: 1 });
  expect(long.attempts.at(-1)).toMatchObject({
    entry: "e2",
    ended: "refused",
    because: expect.stringMatching(
      /^e2 was left out, because the rig could not be put back as it was before the run /,
    ),
  });
  expect(statesOf(second.statuses)).toEqual(["starting", "held", "stopping"]);
  for (const { runId } of stage.ledger.unfinishedRuns(files.rigFile.rig)) stage.ledger.closeRun(runId);
  const third = await serveOnStage(stage, files, { hours: 0.1 });
  expect(statesOf(third.statuses)).toEqual(["starting", "standing by", "stopping"]);
});

test("a cover that is jammed for a while: put back as soon as it moves again, and the next entry begins", async () => {
  await using stage = await open();
  const files = filesOf(stage, 'when: { localTime: "10:05" }', 'when: { localTime: "11:30" }');
  const jam = at(300 + 90).for(1500, worldFaults.stuck("cover"));
  const served = await serveOnStage(stage, files, { hours: 2, faults: [jam], plan: imagesPlan });
  expect(served.attempts.map(({ ended }) => ended)).toEqual(["not-restored", "done"]);
  expect(statesOf(served.statuses)).toEqual([
    "starting",
    "standing by",
    "running",
    "recovering",
    "standing by",
    "running",
    "standing by",
    "stopping",
  ]);
  expect(stage.differences()).toEqual([]);
  expect(checkWorld(stage.world)).toEqual([]);
});

test("a changed schedule is taken when it is valid; else the old one is kept and what is wrong is told", async () => {
  await using stage = await open();
  const files = filesOf(stage, 'when: { localTime: "10:30" }');
  const change = (schedule: string) => ({
    name: "a person writes the schedule",
    begin: () => {
      files.schedule = schedule;
      return undefined;
    },
  });
  const wrong = at(600).begins(change(files.schedule.replace("10:30", "10:70")));
  const right = at(2400).begins(change(files.schedule.replace("10:30", "11:15")));
  const { attempts, statuses } = await serveOnStage(stage, files, { hours: 2, faults: [wrong, right] });
  expect(attempts.map(({ begunUtcMs }) => new Date(begunUtcMs).toISOString().slice(11, 16))).toEqual([
    "10:30",
  ]);
  const troubled = statuses.filter(({ fileTrouble }) => fileTrouble !== undefined);
  expect(troubled[0]!.fileTrouble).toContain("schedule.yaml:3");
  expect(statuses.at(-1)!.fileTrouble).toBeUndefined();
  expect(statuses.at(-2)!.untilUtcMs).toBe(Date.parse("2026-06-22T11:15:00Z"));
});

test("an entry that is not wanted is left out by what the rig itself says of its train", async () => {
  await using stage = await open();
  const flatPlan = `plan: flat
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 12, proveLight: false }
`;
  const files = filesOf(
    stage,
    'when: { everyHours: 1, fromLocalTime: "10:00", untilLocalTime: "12:00" }, onlyIfAny: [train-changed]',
  );
  const first = await serveOnStage(stage, files, { hours: 1.2, plan: flatPlan });
  expect(first.attempts).toMatchObject([
    { ended: expect.stringMatching(/^(done|verdict-bad)$/) },
    { ended: "refused", because: "e1 is not wanted: the optical train is that of the last flat" },
  ]);
  files.rigFile = { ...files.rigFile, train: { spacerMm: 12 } };
  const second = await serveOnStage(stage, files, { hours: 1.2, plan: flatPlan });
  expect(second.attempts[2]).toMatchObject({ ended: expect.stringMatching(/^(done|verdict-bad)$/) });
  expect(stage.differences()).toEqual([]);
});
