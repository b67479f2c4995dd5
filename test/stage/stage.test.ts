import { existsSync, mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { rain } from "../../agent/rehearsal/faults/world-faults.ts";
import { playKill, playStorm } from "./example.ts";
import { AgentKilledError, agentKilled, at, openStage, playRun, stopAsked, tinyScene } from "./stage.ts";

const scene = tinyScene;

test.each(["indi", "alpaca"] as const)(
  "a whole run on a tiny sensor over %s: its account is the world's own, and the same each time",
  async (protocol) => {
    const [first, second] = [await playRun({ scene, protocol }), await playRun({ scene, protocol })];
    expect(first).toMatchObject({ ended: "completed", exitCode: 0, differences: [], violations: [] });
    expect(first.record!.steps.map(({ kind }) => kind)).toEqual(["centre", "leak-check", "flat", "images"]);
    expect(first.files).toContain("flat-master.fits");
    expect(first.frames.length).toBeGreaterThan(30);
    expect(first.tube).toMatchObject({ unfilteredSeconds: 0 });
    expect(first.tube.sunlitSeconds).toBeGreaterThan(10);
    expect(second.frames).toEqual(first.frames);
    expect(second.tube).toEqual(first.tube);
    expect(existsSync(first.folder)).toBe(false);
  },
);

test("faults and a stop come at their time, hooks see every change, and how to play it again is told", async () => {
  const seen: string[] = [];
  let events = 0;
  const run = await playRun({
    scene,
    seed: 7,
    faults: [at(20).for(5, rain(3)), at(60).begins(stopAsked("SIGTERM"))],
    onChange: ({ part, what }) => seen.push(`${part} ${what}`),
    onEvent: () => events++,
  });
  expect(run.exitCode).toBe(4); // the rain came first
  expect(seen).toContain("weather changed");
  expect(seen).toContain("dome moveStarted");
  expect(events).toBeGreaterThan(50);
  expect(run.origin).toContain("seed 7");
  expect(run.origin).toContain("rain at 20.000 s for 5.000 s, SIGTERM to the agent at 60.000 s");
});

test("a rig without some roles, and with a diffuser that a person puts on", async () => {
  const rig = { without: ["dome", "rotator", "weather"], byHand: ["diffuser"] } as const;
  const run = await playRun({ scene, rig });
  expect(run).toMatchObject({ ended: "completed", violations: [], differences: [] });
  expect(run.record!.devices.map(({ role }) => role)).not.toContain("dome");
  expect(run.record!.devices.find(({ role }) => role === "diffuser")!.name).toContain("by hand");
});

test.each(["indi", "alpaca"] as const)(
  "over %s the agent is killed in mid-flat: nothing of it runs on, and the next process puts the rig back",
  async (protocol) => {
    await using stage = await openStage({ scene, protocol });
    const killed = await stage.play({
      onProgress: ({ what, done }) => {
        if (what === "flat frames" && done === 3) stage.begin(at(0.01).begins(agentKilled()));
      },
    });
    expect(killed).toMatchObject({ ended: "killed", exitCode: undefined, record: undefined });
    expect(killed.files).not.toContain("run.json");
    expect(killed.differences).not.toEqual([]);
    const left = stage.account();
    await stage.clock.drive(stage.clock.sleep(600));
    expect(stage.account().diffuser).toEqual(left.diffuser);
    expect(stage.ledger.unfinishedRuns("scene")).toHaveLength(1);
    const [recovered] = await stage.restore();
    expect(recovered!.settings.every(({ state }) => state === "same")).toBe(true);
    expect(stage.differences()).toEqual([]);
  },
);

test("a restoring is killed too, and the next run begins by putting the rig back", async () => {
  await using stage = await openStage({ scene });
  await stage.play({ faults: [at(100).begins(agentKilled())] });
  await expect(stage.restore([at(3).begins(agentKilled())])).rejects.toThrow(AgentKilledError);
  expect(stage.differences()).not.toEqual([]);
  expect(await stage.play()).toMatchObject({ ended: "completed", exitCode: 0, differences: [] });
});

test("runs of one folder stay there with their ledger", async () => {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-kept-"));
  try {
    const plan = "plan: waits\nsteps:\n  - wait: { minutes: 1 }\n";
    const first = await playRun({ scene, folder, plan });
    const second = await playRun({ scene, folder, plan, name: "second", startUtc: "2026-06-21T11:00:00Z" });
    expect([first.exitCode, second.exitCode]).toEqual([0, 0]);
    for (const file of ["run/run.json", "second/run.json", "ledger.sqlite"])
      expect(existsSync(join(folder, file)), file).toBe(true);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});

test("the example: a storm of two seeds on both protocols, and a killed agent", async () => {
  expect(await playStorm([1, 2])).toEqual([]);
  expect(await playKill(3, 80)).toMatchObject({ stopped: 130, killed: "killed", leftAtEnd: [] });
});
