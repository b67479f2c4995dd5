import {
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  rmSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { closeRun, saveBaseline } from "../../../../agent/run/ledger/baseline.ts";
import { addMaster } from "../../../../agent/run/ledger/history.ts";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import { pruneRuns } from "../../../../agent/run/ledger/prune-runs.ts";
import { retreatLine, retreatsFileName } from "../../../../agent/run/ledger/retreats-file.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { testRigText } from "../fake-run.ts";

const nowUtcMs = Date.UTC(2026, 5, 30);
const dayMs = 86_400_000;

let folder: string;
let ledger: Ledger;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-prune-"));
  ledger = new Ledger(join(folder, "ledger.sqlite"));
});
afterEach(() => {
  ledger[Symbol.dispose]();
  rmSync(folder, { recursive: true, force: true });
});

/** 30 MB of images and a flat, made so many days ago. */
function addRun(daysAgo: number, { rig = "garden", isClosed = true } = {}): string {
  const startedUtcMs = nowUtcMs - daysAgo * dayMs;
  const run = { rig, plan: "morning", folder: join(folder, `${rig}-${daysAgo}`), startedUtcMs };
  const runId = ledger.beginRun(run);
  mkdirSync(join(run.folder, "pictures"), { recursive: true });
  const setting = { key: "gain", value: 1 };
  saveBaseline(ledger, { ...run, runId }, [{ role: "camera", device: "Camera A", setting }]);
  if (isClosed) closeRun(ledger, { runId, folder: run.folder }, "put back");
  const image = join(run.folder, "image-0001.fits");
  writeFileSync(image, "");
  truncateSync(image, 30e6);
  for (const name of ["run.json", "flat-master.fits", "pictures/flat.png"])
    writeFileSync(join(run.folder, name), "");
  return runId;
}

const listFlat = (name: string, dark: string) =>
  addMaster(
    ledger,
    { rig: "garden", trainMark: "aa" },
    {
      kind: "flat",
      runId: name,
      file: join(folder, name, "flat-master.fits"),
      madeUtcMs: 1,
      verdict: "good",
      facts: { dark: join(folder, dark, "dark-master.fits") },
    },
  );

const prune = (limits: string, runId = "") => {
  const rigFile = readRigFile(testRigText.replace("limits:", `limits:\n  ${limits}`), "rig.yaml");
  return pruneRuns({ ledger, rigFile, nowUtcMs, runId }).map((path) => path.slice(folder.length + 1));
};
const there = () =>
  readdirSync(folder)
    .filter((name) => !name.startsWith("ledger"))
    .toSorted();

test("as the rig file says: by days, by size with the oldest first, and not at all when it says nothing", () => {
  for (const daysAgo of [40, 30, 20, 10, 0]) addRun(daysAgo);
  expect(prune("silenceSecondsMax: 60")).toEqual([]);
  expect(prune("runsKeptDays: 30")).toEqual(["garden-40"]);
  expect(prune("runsKeptMegabytesMax: 100")).toEqual(["garden-30"]);
  expect(prune("runsKeptMegabytesMax: 100")).toEqual([]);
  expect(there()).toEqual(["garden-0", "garden-10", "garden-20"]);
});

test("never the run that has just ended, one that was not put back, or another rig's", () => {
  addRun(40, { isClosed: false });
  addRun(40, { rig: "roof" });
  const own = addRun(39);
  expect(prune("runsKeptDays: 1", own)).toEqual([]);
  expect(there()).toHaveLength(3);
});

test("never a master that the ledger lists, nor its dark: they are what is left of their runs", () => {
  addRun(40);
  addRun(39);
  writeFileSync(join(folder, "garden-39", "dark-master.fits"), "");
  listFlat("garden-40", "garden-39");
  expect(prune("runsKeptDays: 1")).toEqual(["garden-40", "garden-39"]);
  expect(readdirSync(join(folder, "garden-40"))).toEqual(["flat-master.fits"]);
  expect(readdirSync(join(folder, "garden-39"))).toEqual(["dark-master.fits"]);
  expect(prune("runsKeptDays: 1")).toEqual([]);
});

test("nothing while a master's row is not as it was written: which files it means is not known", () => {
  addRun(40);
  listFlat("garden-40", "garden-40");
  ledger.database.run("update masters set file = '/elsewhere'");
  expect(prune("runsKeptDays: 1")).toEqual([]);
});

test("never a run whose trip nobody has answered by looking at the filter", () => {
  const runId = addRun(40);
  const utcMs = nowUtcMs - 40 * dayMs;
  const trip = { rig: "garden", runId, utcMs, kind: "brightness", reason: "far too bright" } as const;
  const line = retreatLine({ ...trip, lastConfirmed: "2026-05-01" });
  writeFileSync(join(folder, "garden-40", retreatsFileName), `${JSON.stringify(line)}\n`);
  expect(prune("runsKeptDays: 1")).toEqual([]);
});

test("a folder that does not say itself that it is that run's is not touched, and no link is followed", () => {
  addRun(40);
  addRun(41);
  addRun(42);
  const other = join(folder, "other");
  mkdirSync(other);
  writeFileSync(join(other, "precious.txt"), "");
  rmSync(join(folder, "garden-40"), { recursive: true });
  symlinkSync(other, join(folder, "garden-40"));
  rmSync(join(folder, "garden-41", "baseline.json"));
  symlinkSync(other, join(folder, "garden-42", "link"));
  expect(prune("runsKeptDays: 1")).toEqual(["garden-42"]);
  expect(existsSync(join(other, "precious.txt"))).toBe(true);
  expect(existsSync(join(folder, "garden-41", "image-0001.fits"))).toBe(true);
});
