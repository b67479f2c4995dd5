import { afterEach, beforeEach, expect, test } from "vitest";
import { takeRig } from "../../../agent/keeper/take-rig.ts";
import type { ConnectRig } from "../../../agent/run/checks/connect-rig-file.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { FakeRun } from "../run/fake-run.ts";

let run: FakeRun;
beforeEach(() => {
  run = new FakeRun();
  run.rig.truth.get("cover")!.set("position", "open");
  run.rig.truth.get("mount")!.set("tracking", "solar");
});
afterEach(() => run[Symbol.dispose]());

const free = async (): Promise<Disposable> => ({ [Symbol.dispose]() {} });
const held = () => Promise.reject(new Error("another process has it"));

function take(lock: () => Promise<Disposable>, connect?: ConnectRig): Promise<void> {
  const { clock, rig } = run;
  const rigFile = readRigFile(run.rigText, "rig.yaml");
  const usual: ConnectRig = (_signal, found) => rig.connect(found);
  return clock.drive(takeRig({ rigFile, connect: connect ?? usual, clock, log: silentLog, lock }));
}

const seconds = () => run.clock.monotonicSeconds();

test("an agent that hangs and keeps the lock: after a few seconds the rig is made safe all the same", async () => {
  const before = seconds();
  let closedAfter = Number.POSITIVE_INFINITY;
  run.rig.afterChange = (what) => {
    if (what === "cover.position") closedAfter = seconds() - before;
  };
  await take(held);
  expect(run.rig.get("cover", "position")).toBe("closed");
  expect(closedAfter).toBeLessThan(30);
});

test("a server that is back after a while: the rig is made safe then, and the lock is free in between", async () => {
  const backAfter = seconds() + 600;
  let locks = 0;
  let isLocked = false;
  let freeSince: number | undefined;
  await take(
    async () => {
      locks++;
      isLocked = true;
      return {
        [Symbol.dispose]() {
          isLocked = false;
          freeSince ??= seconds();
        },
      };
    },
    (_signal, found) =>
      seconds() < backAfter ? Promise.reject(new Error("connection refused")) : run.rig.connect(found),
  );
  expect(run.rig.get("cover", "position")).toBe("closed");
  expect(locks).toBeGreaterThan(50);
  expect(freeSince).toBeDefined();
  expect(isLocked).toBe(false);
});

test("somebody who takes the rig between two tries has it", async () => {
  let tries = 0;
  await take(
    async () => (++tries === 1 ? free() : held()),
    () => Promise.reject(new Error("connection refused")),
  );
  expect(tries).toBe(2);
  expect(run.rig.get("cover", "position")).toBe("open");
});

test("a server that is gone for good: it gives up after hours, and says nothing wrong", async () => {
  await take(free, () => Promise.reject(new Error("connection refused")));
  expect(seconds()).toBeGreaterThan(7200);
});
