import { rmSync } from "node:fs";
import { dirname, join } from "node:path";
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
import type { FakeWork } from "../agent/run/fake-steps.ts";
import { mortalClock } from "../agent/run/mortal-clock.ts";

const tripMessage = "the light has suddenly become far too bright";

/** Sees far too much light after a minute, at 10:02 or so. */
const trips: FakeWork = async ({ clock }, signal) => {
  await clock.sleep(60, signal);
  return { ended: "unsafe", failure: new Error(tripMessage) };
};

const openFound = () => {
  const run = new FakeRun();
  run.rig.truth.get("cover")!.set("position", "open");
  return run;
};

/** A run that is killed right after the cover was closed in its retreat. */
async function killInRetreat(run: FakeRun, flat: FakeWork): Promise<void> {
  const life = new Life();
  run.rig.afterChange = (what) => {
    if (what === "cover.position" && run.rig.get("cover", "position") === "closed") life.kill();
  };
  const options = run.options(
    { ...usualWorks, flat },
    {
      clock: mortalClock(run.clock, life),
      connect: (_signal, found) => run.rig.connect(found, life),
    },
  );
  expect(await run.clock.drive(Promise.race([carryOut(options), life.dies.promise]))).toBe("killed");
  run.rig.afterChange = () => {};
}

/** As another process does it, by the rig file as it is then. */
function restore(run: FakeRun) {
  const ledger = new Ledger(run.ledger.file);
  const rigFile = readRigFile(run.rigText, "rig.yaml");
  const connect: ConnectRig = (_signal, found) => run.rig.connect(found);
  const { clock } = run;
  const records = { ledger, ledgerFile: ledger.file, runsFolders: [run.folder] };
  return clock
    .drive(restoreRig({ connect, rigFile, records, clock, log: silentLog, signal: neverAborted }))
    .finally(() => ledger[Symbol.dispose]());
}

const confirm = (run: FakeRun, when: string) => {
  run.rigText = run.rigText.replace(/lastConfirmed: \S+/, `lastConfirmed: ${when}`);
};
const coverNow = (run: FakeRun) => run.rig.get("cover", "position");

test("a run that trips on brightness and is killed: who puts it back leaves the cover closed, and says why", async () => {
  using run = openFound();
  await killInRetreat(run, trips);
  const [restored] = await restore(run);
  expect(coverNow(run)).toBe("closed");
  const kept = restored!.settings.filter(({ state }) => state !== "same");
  expect(kept).toMatchObject([{ role: "cover", key: "position", state: "keptSafe" }]);
  expect(kept[0]!.why).toContain(tripMessage);
  expect(kept[0]!.why).toContain("nobody has confirmed the Sun filter since");
});

test("the next run puts it back, leaves the cover closed and does not begin: exit 4, with the time and what to do", async () => {
  using run = openFound();
  await killInRetreat(run, trips);
  const next = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(next).toMatchObject({ ended: "refused", exitCode: 4 });
  expect(next.failure!.message).toMatch(/a run retreated at 2026-06-20T10:0\dZ, because .* far too bright/);
  expect(next.failure!.whatToDo).toContain("a day after 2026-06-20, or a time after 2026-06-20T10:0");
  expect(coverNow(run)).toBe("closed");
  expect(run.ledger.unfinishedRuns("garden")).toEqual([]);
});

test("after a run that came to its end it is the same: no later run uncovers, until the filter is confirmed after it", async () => {
  using run = new FakeRun();
  expect((await run.run({ ...usualWorks, flat: trips })).exitCode).toBe(4);
  let runs = 1;
  const again = async () => (await run.run(usualWorks, { folder: join(run.folder, `${++runs}`) })).exitCode;
  expect(await again()).toBe(4);
  confirm(run, "2026-06-20"); // the day of the trip counts from its beginning
  expect(await again()).toBe(4);
  confirm(run, "2026-06-20T10:00Z");
  expect(await again()).toBe(4);
  run.clock.setTimer(3600, () => {});
  await run.clock.drive(run.clock.sleep(3600));
  confirm(run, "2026-06-20T10:30Z");
  expect(await again()).toBe(0);
});

test("confirmed later than the trip, restoring may open the cover that it found open", async () => {
  using run = openFound();
  const before = run.rig.account();
  await killInRetreat(run, trips);
  await run.clock.drive(run.clock.sleep(3600));
  confirm(run, "2026-06-20T10:30Z");
  await restore(run);
  expect(run.rig.account()).toEqual(before);
});

test("a day that was written down before the trip does not confirm it, though it begins after it in UTC", async () => {
  using run = openFound();
  confirm(run, "2026-06-21"); // far east of Greenwich it is so already
  await killInRetreat(run, trips);
  await restore(run);
  expect(coverNow(run)).toBe("closed");
});

test("rain in a run that was killed closes cover and shutter in another process too, when it has stopped", async () => {
  using run = openFound();
  await killInRetreat(run, async ({ clock }, signal) => {
    run.rig.weather = "unsafe";
    await clock.sleep(600, signal);
    return undefined;
  });
  run.rig.weather = "safe";
  await restore(run);
  expect([coverNow(run), run.rig.get("dome", "shutter")]).toEqual(["closed", "closed"]);
});

test("a retreat for another reason keeps the cover closed in another process too, but only of that run", async () => {
  using run = openFound();
  await killInRetreat(run, async ({ clock }, signal) => {
    run.freeDiskMegabytes = 20;
    await clock.sleep(600, signal);
    return undefined;
  });
  run.freeDiskMegabytes = 10_000;
  const [restored] = await restore(run);
  expect(coverNow(run)).toBe("closed");
  expect(restored!.settings.filter(({ state }) => state !== "same")).toMatchObject([
    { role: "cover", why: expect.stringContaining("20 MB are free on the disk") },
  ]);
  const next = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(next.exitCode).toBe(0);
});

test("with its ledger gone a trip is found in the run's folder, beside which the next run is made", async () => {
  using run = new FakeRun();
  await run.run({ ...usualWorks, flat: trips });
  using elsewhere = new FakeRun();
  const folder = join(run.folder, "second");
  const next = await elsewhere.run(usualWorks, { folder });
  expect(next).toMatchObject({ ended: "refused", exitCode: 4 });
  rmSync(join(run.folder, "run"), { recursive: true });
  expect(dirname(folder)).toBe(run.folder);
  expect((await elsewhere.run(usualWorks, { folder: join(run.folder, "third") })).exitCode).toBe(0);
});

test("a ledger that takes no more and a full disk do not keep the retreat from beginning", async () => {
  using run = openFound();
  const report = await run.run({
    ...usualWorks,
    flat: async (bench, signal) => {
      run.ledger.database.run("drop table retreats");
      rmSync(join(run.folder, "run"), { recursive: true });
      return trips(bench, signal);
    },
  });
  expect(report).toMatchObject({ ended: "unsafe", leftOnRig: { cover: "closed" } });
});
