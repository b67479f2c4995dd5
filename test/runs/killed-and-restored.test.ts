import { join } from "node:path";
import { expect, test } from "vitest";
import type { ConnectRig } from "../../agent/run/checks/connect-rig-file.ts";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { carryOut } from "../../agent/run/machine/carry-out.ts";
import { restoreRig } from "../../agent/run/machine/restore-rig.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { Life } from "../agent/run/fake-rig.ts";
import { FakeRun, usualWorks } from "../agent/run/fake-run.ts";
import { mortalClock } from "../agent/run/mortal-clock.ts";

/** Kills the process right after the rig's n-th change from now. @returns whether it lived to its end */
async function liveUntilChange(
  run: FakeRun,
  n: number,
  work: (life: Life) => Promise<unknown>,
): Promise<boolean> {
  const life = new Life();
  let changes = 0;
  run.rig.afterChange = () => {
    if (++changes === n) life.kill();
  };
  const ended = await run.clock.drive(
    Promise.race([work(life).then(() => "lived" as const), life.dies.promise]),
  );
  run.rig.afterChange = () => {};
  return ended === "lived";
}

const begin = (run: FakeRun) => (life: Life) =>
  carryOut(
    run.options(usualWorks, {
      clock: mortalClock(run.clock, life),
      connect: (_signal, found) => run.rig.connect(found, life),
    }),
  );

/** As a new process does it: with a ledger opened anew from the file. */
const restore = (run: FakeRun) => async (life: Life) => {
  using ledger = new Ledger(run.ledger.file);
  const clock = mortalClock(run.clock, life);
  const rigFile = readRigFile(run.rigText, "rig.yaml");
  const connect: ConnectRig = (_signal, found) => run.rig.connect(found, life);
  const records = { ledger, ledgerFile: ledger.file, runsFolders: [run.folder] };
  return await restoreRig({ connect, rigFile, records, clock, log: silentLog, signal: neverAborted });
};

/** Until a run gets through without a change left to be killed at. */
async function atEveryChange(check: (run: FakeRun, n: number) => Promise<boolean>): Promise<number> {
  for (let n = 1; ; n++) {
    using run = new FakeRun();
    run.rig.truth.get("cover")!.set("position", n % 2 === 0 ? "open" : "closed");
    if (await check(run, n)) return n;
  }
}

test("killed after any of its changes, a run is put back by the next process", async () => {
  const changes = await atEveryChange(async (run, n) => {
    const before = run.rig.account();
    const lived = await liveUntilChange(run, n, begin(run));
    await run.clock.drive(restore(run)(new Life()));
    expect(run.rig.account(), `killed at change ${n}`).toEqual(before);
    expect(run.ledger.unfinishedRuns("garden")).toEqual([]);
    return lived;
  });
  expect(changes).toBeGreaterThan(8);
});

test("killed again while putting back, and again, it is put back by the one after", async () => {
  await atEveryChange(async (run, n) => {
    const before = run.rig.account();
    const lived = await liveUntilChange(run, n, begin(run));
    await liveUntilChange(run, 1, restore(run));
    await liveUntilChange(run, 2, restore(run));
    await run.clock.drive(restore(run)(new Life()));
    expect(run.rig.account(), `killed at change ${n}`).toEqual(before);
    return lived;
  });
});

test("the next run puts back first what a killed one left, and then does its own work", async () => {
  using run = new FakeRun();
  const before = run.rig.account();
  expect(await liveUntilChange(run, 5, begin(run))).toBe(false);
  expect(run.rig.account()).not.toEqual(before);
  const report = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(report).toMatchObject({ ended: "completed", exitCode: 0 });
  const events = report.record.timeline.map((entry) => entry.event);
  expect(events.indexOf("an earlier run is put back")).toBeLessThan(events.indexOf("baseline is on disk"));
  expect(run.rig.account()).toEqual(before);
});

test("a killed run is put back even when the next plan is refused", async () => {
  using run = new FakeRun();
  const before = run.rig.account();
  await liveUntilChange(run, 5, begin(run));
  run.rigText = run.rigText.replace("2026-05-01", "2025-05-01"); // the filter has to be confirmed again
  const report = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(report).toMatchObject({ ended: "refused", exitCode: 4 });
  expect(run.rig.account()).toEqual(before);
});
