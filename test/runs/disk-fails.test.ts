import { Database } from "bun:sqlite";
import { existsSync, mkdirSync, readFileSync, renameSync, rmSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { runOutcome } from "../../agent/commands/run.ts";
import type { ConnectRig } from "../../agent/run/checks/connect-rig-file.ts";
import { findUnfinishedRuns } from "../../agent/run/ledger/unfinished-runs.ts";
import { carryOut } from "../../agent/run/machine/carry-out.ts";
import { restoreRig } from "../../agent/run/machine/restore-rig.ts";
import type { RunReport } from "../../agent/run/record/run-record.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { neverAborted } from "../../drivers/kit/never-aborted.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { Life } from "../agent/run/fake-rig.ts";
import { FakeRun, usualWorks } from "../agent/run/fake-run.ts";
import { mortalClock } from "../agent/run/mortal-clock.ts";

let run: FakeRun;
let before: unknown;
beforeEach(() => {
  run = new FakeRun();
  before = run.rig.account();
});
afterEach(() => {
  other?.close();
  other = undefined;
  run[Symbol.dispose]();
});

/** Another program's hold on the ledger, which is gone with it. */
let other: Database | undefined;

const runFolder = () => join(run.folder, "run");

/** Something that happens to the disk while the flat is taken, cover open. */
const inFlat = (happens: () => void) =>
  run.run({
    ...usualWorks,
    flat: async (bench, signal) => {
      happens();
      return usualWorks.flat!(bench, signal);
    },
  });

/** All of it, as ENOSPC does it: not a byte more. */
const refuseWrites = () => run.ledger.database.run("pragma query_only = on");

const troubles: Record<string, () => void> = {
  "a ledger whose disk takes nothing more": refuseWrites,
  "a ledger that another program holds": () => {
    other = new Database(run.ledger.file);
    other.run("begin immediate");
  },
  "a ledger without its tables": () => {
    for (const table of ["baselines", "retreats", "masters", "findings", "runs"])
      run.ledger.database.run(`drop table ${table}`);
  },
  "a run's folder that is gone": () => rmSync(runFolder(), { recursive: true }),
  "a file in the place of the run's folder, and a ledger that takes nothing more": () => {
    refuseWrites();
    rmSync(runFolder(), { recursive: true });
    writeFileSync(runFolder(), "");
  },
};

test.each(Object.keys(troubles))(
  "%s: the rig is put back, and said so before what was not written",
  async (name) => {
    const report = await inFlat(troubles[name]!);
    expect(run.rig.account()).toEqual(before);
    expect(report).toMatchObject({ ended: "completed", verdict: "good", exitCode: 5, notAsFound: [] });
    const { text } = runOutcome(report);
    expect(text).toMatch(
      /^The plan morning is done\. .*\nThe rig is as it was found \(25 settings read back\)\. .*Could not be written to the disk: ./,
    );
    expect(text).not.toContain("fault of evenfield");
  },
);

test("rain on top of it: retreat, restoring and exit code 4 are the same", async () => {
  const report = await inFlat(() => {
    run.rig.weather = "unsafe";
    refuseWrites();
    rmSync(runFolder(), { recursive: true });
  });
  expect(report).toMatchObject({ ended: "unsafe", exitCode: 4, leftOnRig: { cover: "closed" } });
  run.rig.truth.get("dome")!.set("shutter", "open"); // all else
  expect(run.rig.account()).toEqual(before);
});

test("a step that finds no room for its file fails as the disk's matter, and the rig is put back", async () => {
  const flat = async () => {
    const error = Object.assign(new Error("ENOSPC: no space left on device, write"), {
      code: "ENOSPC",
      syscall: "write",
    });
    return { ended: "failed", failure: error } as const;
  };
  const report = await run.run({ ...usualWorks, flat });
  expect(report).toMatchObject({ ended: "failed", exitCode: 5, failure: { code: "DISK" } });
  expect(runOutcome(report).text).toContain("Make room on the disk.");
  expect(run.rig.account()).toEqual(before);
});

/** A run that is killed in its flat, everything changed. */
async function killInFlat(): Promise<void> {
  const life = new Life();
  const flat: typeof usualWorks.flat = async (bench, signal) => {
    await usualWorks.flat!(bench, signal);
    life.kill();
    return undefined;
  };
  const options = run.options(
    { ...usualWorks, flat },
    { clock: mortalClock(run.clock, life), connect: (_signal, found) => run.rig.connect(found, life) },
  );
  await run.clock.drive(Promise.race([carryOut(options), life.dies.promise]));
  expect(run.rig.account()).not.toEqual(before);
}

/** With no ledger that can be opened, as another process does it. */
async function restoreFromFolders(runsFolders = [run.folder]) {
  const rigFile = readRigFile(run.rigText, "rig.yaml");
  const records = { ledgerFile: join(run.folder, "none.sqlite"), runsFolders };
  const connect: ConnectRig = (_signal, found) => run.rig.connect(found);
  const tools = { connect, clock: run.clock, log: silentLog, signal: neverAborted };
  return await run.clock.drive(restoreRig({ ...tools, rigFile, records }));
}

test("killed, with its ledger lost: the run's folder is enough, a person can read it, and it closes the run", async () => {
  await killInFlat();
  const saved = JSON.parse(readFileSync(join(runFolder(), "baseline.json"), "utf8"));
  expect(saved).toMatchObject({ rig: "garden", state: "changing", settingCount: 25 });
  expect(saved.devices[0]).toMatchObject({
    role: "camera",
    device: "Fake camera",
    settings: expect.arrayContaining([{ key: "gain", value: 120 }]),
  });
  expect((await restoreFromFolders())[0]!.settings).toHaveLength(25);
  expect(run.rig.account()).toEqual(before);
  expect(await restoreFromFolders()).toEqual([]);
  const records = { ledger: run.ledger, ledgerFile: run.ledger.file, runsFolders: [] };
  expect(findUnfinishedRuns(records, "garden").runs).toEqual([]); // the folder's word counts
});

test("killed, with its ledger lost: the next run puts it back from the folder first", async () => {
  await killInFlat();
  using fresh = new FakeRun();
  const folder = join(run.folder, "second");
  const options = run.options(usualWorks, { ledger: fresh.ledger, folder });
  const report: RunReport = await run.clock.drive(carryOut(options));
  expect(report).toMatchObject({ ended: "completed", exitCode: 0 });
  expect(report.record.timeline.map(({ event }) => event)).toContain("an earlier run is put back");
  expect(run.rig.account()).toEqual(before);
});

test("where runs lie is found again by what is noted beside the ledger", async () => {
  await killInFlat();
  rmSync(run.ledger.file);
  const rigFile = readRigFile(run.rigText, "rig.yaml");
  const records = { ledgerFile: run.ledger.file, runsFolders: [] };
  expect(findUnfinishedRuns(records, rigFile.rig).runs).toHaveLength(1);
});

test("killed, with the folder lost or damaged: the ledger is enough", async () => {
  await killInFlat();
  const file = join(runFolder(), "baseline.json");
  writeFileSync(file, readFileSync(file, "utf8").replace('"value": 120', '"value": 121'));
  const records = { ledger: run.ledger, ledgerFile: run.ledger.file, runsFolders: [run.folder] };
  const { runs, doubts } = findUnfinishedRuns(records, "garden");
  expect(runs[0]!.baseline).toHaveLength(25);
  expect(doubts).toEqual([expect.stringContaining("baseline.json of the run")]);
  const report = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(report.exitCode).toBe(0);
  expect(run.rig.account()).toEqual(before);
});

test("killed, with both damaged: never all back; exit code 6, and the plan does not begin", async () => {
  await killInFlat();
  rmSync(join(runFolder(), "baseline.json"));
  run.ledger.database.run("delete from baselines where position > 3");
  const report = await run.run(usualWorks, { folder: join(run.folder, "second") });
  expect(report).toMatchObject({ exitCode: 6, failure: { code: "RIG_NOT_RESTORED" } });
  expect(report.failure!.message).toContain("how it found the rig is damaged in the ledger and in");
  expect(run.ledger.unfinishedRuns("garden")).toHaveLength(1);
});

test("a run that can't write down how it found the rig changes nothing", async () => {
  mkdirSync(runFolder());
  mkdirSync(join(runFolder(), "baseline.json")); // nothing can take its place
  const report = await run.run(usualWorks);
  expect(report).toMatchObject({ ended: "failed", exitCode: 5, failure: { code: "DISK" } });
  expect(run.rig.told).toEqual([]);
  expect(runOutcome(report).text).toContain("Nothing on the rig was changed.");
});

test("old runs are removed when the rig is put back; not when it is not, and not because the disk is low", async () => {
  run.rigText = run.rigText.replace("limits:", "limits:\n  runsKeptDays: 1");
  await run.run(usualWorks, { folder: join(run.folder, "old") });
  const dayLater = () => run.clock.drive(run.clock.sleep(86_400));
  await dayLater();
  const images: typeof usualWorks.images = async () => {
    run.freeDiskMegabytes = 100;
    return undefined;
  };
  await run.run({ ...usualWorks, images }, { folder: join(run.folder, "low") });
  run.freeDiskMegabytes = 10_000;
  run.rig.afterChange = (what) => {
    if (what === "diffuser.position") run.rig.stuck.add(what);
  };
  expect((await run.run(usualWorks, { folder: join(run.folder, "stuck") })).exitCode).toBe(6);
  expect(existsSync(join(run.folder, "old"))).toBe(true);
  run.rig.afterChange = () => {};
  run.rig.stuck.clear();
  expect((await run.run(usualWorks)).exitCode).toBe(0);
  expect(existsSync(join(run.folder, "old"))).toBe(false);
});

test("a folder from somewhere else is no run of this rig", async () => {
  await killInFlat();
  renameSync(runFolder(), join(run.folder, "old"));
  const file = join(run.folder, "old", "baseline.json");
  expect(await restoreFromFolders([join(run.folder, "nowhere")])).toEqual([]);
  writeFileSync(file, readFileSync(file, "utf8").replace('"rig": "garden"', '"rig": "roof"'));
  expect(await restoreFromFolders()).toEqual([]);
});
