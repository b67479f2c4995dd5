import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { addMaster, mastersOf, readFindings, saveFindings } from "../../../../agent/run/ledger/history.ts";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import { lockRig, RigBusyError } from "../../../../agent/run/machine/rig-lock.ts";
import { VirtualClock } from "../../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../../plans/rig-file.ts";
import { goodRig } from "../../../plans/broken-files.ts";

let folder: string;
let file: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-ledger-"));
  file = join(folder, "ledger.sqlite");
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const run = { rig: "garden", plan: "morning", folder: "runs/x", startedUtcMs: Date.UTC(2026, 5, 20) };
const gain = {
  role: "camera",
  device: "Camera A",
  setting: { key: "gain", value: 120, unit: "0.1 dB" },
} as const;

test("a baseline that was promised is there after kill -9, and the rig is free again", async () => {
  const writer = Bun.spawn([process.execPath, join(import.meta.dirname, "../ledger-writer.ts"), file], {
    stdout: "pipe",
  });
  const reader = writer.stdout.getReader();
  expect(new TextDecoder().decode((await reader.read()).value)).toBe("promised\n");
  const take = () =>
    lockRig(file, readRigFile(goodRig, "rig.yaml"), {
      clock: new VirtualClock(0),
      lockFolder: `${file}.locks`,
    });
  await expect(take()).rejects.toThrow(RigBusyError);
  writer.kill("SIGKILL");
  await writer.exited;
  using lock = await take();
  using ledger = new Ledger(file);
  const [unfinished] = ledger.unfinishedRuns("garden");
  const baseline = ledger.baselineOf(unfinished!.runId)!;
  expect(baseline).toHaveLength(500);
  expect(baseline[499]).toEqual({
    role: "camera",
    device: "Camera A",
    setting: { key: "key499", value: [499, 499.5] },
  });
  expect(lock).toBeDefined();
});

test("a baseline is there whole or not at all", () => {
  using ledger = new Ledger(file);
  const runId = ledger.beginRun(run);
  const unwritable = { ...gain, setting: { key: "second", value: 1n as unknown as number } };
  expect(() => ledger.saveBaseline(runId, [gain, unwritable])).toThrow();
  expect(ledger.baselineOf(runId)).toBeUndefined();
  expect(ledger.unfinishedRuns("garden")).toEqual([]);
});

test("a run is unfinished from its baseline until it is closed, for its own rig only", () => {
  using ledger = new Ledger(file);
  const runId = ledger.beginRun(run);
  expect(ledger.unfinishedRuns("garden")).toEqual([]);
  ledger.saveBaseline(runId, [gain]);
  expect(ledger.unfinishedRuns("garden").map((row) => row.runId)).toEqual([runId]);
  expect(ledger.unfinishedRuns("roof")).toEqual([]);
  ledger.closeRun(runId);
  ledger.endRun(runId, { ended: "completed", exitCode: 0 });
  expect(ledger.unfinishedRuns("garden")).toEqual([]);
  expect(ledger.runs("garden")).toMatchObject([{ stage: "closed", ended: "completed", exitCode: 0 }]);
});

test("two runs of one plan in the same second have names of their own", () => {
  using ledger = new Ledger(file);
  const names = [ledger.beginRun(run), ledger.beginRun(run), ledger.beginRun(run)];
  expect(new Set(names).size).toBe(3);
});

test("after a day under cloud the light may be as bright as before it; after a false alarm nothing earlier limits it", () => {
  using ledger = new Ledger(file);
  const key = { rig: "garden", trainMark: "aa" };
  const rate = (edgeAduPerSecond: number, gain: number, measuredUtcMs: number) => {
    return { edgeAduPerSecond, pedestalAdu: 60, gain, sunAltitudeDegrees: 40, measuredUtcMs };
  };
  const save = (one: ReturnType<typeof rate>) =>
    saveFindings(ledger, { ...key, runId: "1", sinceUtcMs: 0 }, { lightRate: { none: one } }, 0);
  save(rate(900, 100, 5)); // at another gain, which says nothing
  save(rate(100, 0, 10));
  save(rate(14, 0, 20));
  expect(readFindings(ledger, key)).toEqual({
    lightRate: { none: rate(14, 0, 20) },
    clearestRate: { none: rate(100, 0, 10) },
  });
  expect(readFindings(ledger, key, 10).clearestRate).toEqual({ none: rate(14, 0, 20) });
  expect(readFindings(ledger, key, 20).clearestRate).toBeUndefined();
  for (let day = 0; day < 20; day++) save(rate(15, 0, 30 + day)); // for weeks no clearer sky: another train, or a filter grown dim
  expect(readFindings(ledger, key).clearestRate!.none!.edgeAduPerSecond).toBe(15);
});

test("history belongs to a rig as it was assembled, and the newest counts", () => {
  using ledger = new Ledger(file);
  const key = { rig: "garden", trainMark: "aa" };
  const rate = (edgeAduPerSecond: number, measuredUtcMs: number) => ({
    lightRate: {
      diffuser: { edgeAduPerSecond, pedestalAdu: 60, gain: 0, sunAltitudeDegrees: 40, measuredUtcMs },
    },
  });
  const curve = {
    coefficients: [-0.02, 0, 0],
    covariance: [],
    least: 0.1,
    most: 0.8,
    drift: 0,
    levelScatter: 0,
  } as const;
  const response = { ...curve, gain: 0, binning: 1, measuredUtcMs: 20 };
  saveFindings(ledger, { ...key, runId: "1", sinceUtcMs: 0 }, rate(5, 10), 10);
  saveFindings(
    ledger,
    { ...key, runId: "2", sinceUtcMs: 15 },
    { ...rate(6, 20), response, topCodeAdu: 65520 },
    20,
  );
  saveFindings(ledger, { ...key, runId: "3", sinceUtcMs: 25 }, rate(7, 20), 30); // taken over from history
  const clearestRate = rate(6, 20).lightRate;
  expect(readFindings(ledger, key)).toEqual({ ...rate(6, 20), clearestRate, response, topCodeAdu: 65520 });
  expect(readFindings(ledger, { ...key, trainMark: "bb" })).toEqual({ lightRate: {} });
  const rows = ledger.database.query<{ n: number }, []>("select count(*) as n from findings").get();
  expect(rows).toEqual({ n: 4 });
});

test("masters are listed newest first with their verdicts", () => {
  using ledger = new Ledger(file);
  const key = { rig: "garden", trainMark: "aa" };
  const master = (madeUtcMs: number, verdict: string) =>
    ({
      kind: "flat",
      runId: "1",
      file: "flat-master.fits",
      madeUtcMs,
      verdict,
      facts: { frames: 40 },
    }) as const;
  addMaster(ledger, key, master(1, "usable"));
  addMaster(ledger, key, master(2, "good"));
  expect(mastersOf(ledger, key)).toEqual([master(2, "good"), master(1, "usable")]);
});

test("a ledger of a later version is left alone", () => {
  {
    using ledger = new Ledger(file);
    ledger.database.run("pragma user_version = 3");
  }
  expect(() => new Ledger(file)).toThrow("written by a later version");
});

test("what is written is on the disk before the write returns: full synchronisation", () => {
  using ledger = new Ledger(file);
  expect(ledger.database.query("pragma synchronous").get()).toEqual({ synchronous: 2 });
});
