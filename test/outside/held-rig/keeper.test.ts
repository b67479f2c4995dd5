import { expect, test } from "vitest";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { isMadeSafe, isOpen, RealRig } from "./real-rig.ts";
import { repeatIfStalled } from "./repeat-if-stalled.ts";

/** Until the telescope is open to the Sun. */
async function uncovered(rig: RealRig) {
  const run = await rig.atTerminal("run");
  await rig.until("cover open", isOpen);
  return run;
}

async function restored(rig: RealRig): Promise<void> {
  await rig.until("the keeper is done", () => rig.pidsOf("keep").length === 0);
  const restore = await rig.atTerminal("restore");
  expect((await restore.ended).exit).toBe(0);
  expect(await rig.differences()).toEqual([]);
}

test.concurrent(
  "the agent is killed: the rig is covered, turned off the Sun, and put back by restore",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    process.kill(run.pid, "SIGKILL");
    await rig.until("made safe", isMadeSafe);
    await restored(rig);
  }),
);

test.concurrent(
  "its session hangs up and the agent is killed before it has put anything back: the keeper is still there",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    run.tell("hang-up");
    process.kill(run.pid, "SIGKILL");
    await rig.until("made safe", isMadeSafe);
    await restored(rig);
  }),
);

test.concurrent(
  "the agent is stopped: the rig is made safe meanwhile, and when the agent goes on it retreats",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    process.kill(run.pid, "SIGSTOP");
    await rig.until("made safe", isMadeSafe);
    process.kill(run.pid, "SIGCONT");
    expect((await run.ended).exit).toBe(4);
    expect(await rig.differences()).toEqual([]);
  }),
);

test.concurrent(
  "the agent is killed while the device server does not answer: the rig is made safe when it does again",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    rig.simulator.kill("SIGSTOP");
    process.kill(run.pid, "SIGKILL");
    await systemClock.sleep(30);
    rig.simulator.kill("SIGCONT");
    await rig.until("made safe", isMadeSafe);
    await restored(rig);
  }),
);

test.concurrent(
  "agent and keeper are both killed: restore puts the rig back",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    for (const pid of [...rig.pidsOf("keep"), run.pid]) process.kill(pid, "SIGKILL");
    await restored(rig);
  }),
);

test.concurrent(
  "the keeper alone is killed: the agent retreats, says so, and puts the rig back",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    const run = await uncovered(rig);
    for (const pid of rig.pidsOf("keep")) process.kill(pid, "SIGKILL");
    const { exit, said } = await run.ended;
    expect(exit).toBe(4);
    expect(said).toContain("the keeper on this computer: it is gone");
    expect(await rig.differences()).toEqual([]);
  }),
);

test.concurrent(
  "the agent's computer is gone: the keeper beside the telescope makes the rig safe, and goes on listening",
  repeatIfStalled(async () => {
    await using rig = await RealRig.start();
    await rig.startListeningKeeper();
    const [listening] = rig.pidsOf("keep");
    const run = await uncovered(rig);
    for (const pid of [...rig.pidsOf("keep"), run.pid]) if (pid !== listening) process.kill(pid, "SIGKILL");
    await rig.until("made safe", isMadeSafe);
    expect(rig.pidsOf("keep")).toEqual([listening]);
    process.kill(listening!, "SIGTERM");
    await restored(rig);
  }),
);
