import { Database } from "bun:sqlite";
import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { saveBaseline } from "../../../../agent/run/ledger/baseline.ts";
import { Ledger } from "../../../../agent/run/ledger/ledger.ts";
import { LedgerError } from "../../../../agent/run/ledger/ledger-error.ts";
import { saveRetreats } from "../../../../agent/run/ledger/retreats.ts";
import { findUnfinishedRuns } from "../../../../agent/run/ledger/unfinished-runs.ts";
import type { BaselineEntry } from "../../../../agent/run/record/run-record.ts";
import { silentLog } from "../../../../drivers/kit/log.ts";
import { Random } from "../../../../drivers/kit/random.ts";

let folder: string;
let file: string;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-damaged-"));
  file = join(folder, "ledger.sqlite");
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const entries: readonly BaselineEntry[] = Array.from({ length: 40 }, (_, index) => ({
  role: index < 20 ? "camera" : "mount",
  device: index < 20 ? "Camera A" : "Mount A",
  setting: { key: `key${index}`, value: index % 2 === 0 ? index + 0.5 : [index, 2], unit: "px" },
}));

/** Runs that are over, one that is not, and one of another rig. */
function fill(ledger: Ledger): void {
  for (let day = 1; day <= 20; day++) {
    const startedUtcMs = Date.UTC(2026, 5, day);
    const run = {
      rig: day === 20 ? "roof" : "garden",
      plan: "morning",
      folder: join(folder, `${day}`),
      startedUtcMs,
    };
    mkdirSync(run.folder, { recursive: true });
    const runId = ledger.beginRun(run);
    saveBaseline(ledger, { ...run, runId }, entries);
    if (day < 19) ledger.closeRun(runId);
  }
}

const unfinishedId = `${new Date(Date.UTC(2026, 5, 19)).toISOString()}-morning`;

function troubleOf(path: string): string | undefined {
  try {
    new Ledger(path)[Symbol.dispose]();
    return undefined;
  } catch (error) {
    if (error instanceof LedgerError) return error.trouble;
    throw error;
  }
}

test("what is no ledger is said to be none, and is left as it was", () => {
  const text = join(folder, "notes.txt");
  writeFileSync(text, "a text\n".repeat(100));
  expect(troubleOf(text)).toBe("not a ledger");
  expect(readFileSync(text, "utf8")).toBe("a text\n".repeat(100));
  const other = join(folder, "other.sqlite");
  new Database(other, { create: true }).run("create table songs (name text)");
  expect(troubleOf(other)).toBe("not a ledger");
  expect(troubleOf(folder)).toBe("unopened");
  expect(existsSync(`${other}-wal`)).toBe(false);
});

test("one that another program holds for itself: locked", () => {
  new Ledger(file)[Symbol.dispose]();
  const other = new Database(file);
  other.run("pragma journal_mode = delete");
  other.run("begin exclusive");
  expect(troubleOf(file)).toBe("locked");
  other.close();
  expect(troubleOf(file)).toBeUndefined();
});

test("a ledger of the format before seals is taken over, its unfinished run with it", () => {
  const old = new Database(file, { create: true, strict: true });
  old.run(`create table runs (
    run_id text primary key, rig text not null, plan text not null, folder text not null,
    started_utc_ms integer not null, stage text not null, ended text, exit_code integer) strict`);
  old.run(`create table baselines (
    run_id text not null references runs, position integer not null, role text not null, device text not null,
    key text not null, value text not null, unit text, restored integer not null default 0,
    primary key (run_id, position)) strict`);
  old.run(`create table findings (
    rig text not null, train_mark text not null, kind text not null, run_id text not null,
    measured_utc_ms integer not null, value text not null) strict`);
  old.run(`create table masters (
    rig text not null, train_mark text not null, kind text not null, run_id text not null, file text not null,
    made_utc_ms integer not null, verdict text not null, facts text not null) strict`);
  old.run("insert into runs values ('a', 'garden', 'morning', '/runs/a', 5, 'changing', null, null)");
  old.run("insert into baselines values ('a', 0, 'camera', 'Camera A', 'gain', '120', null, 0)");
  old.run("pragma user_version = 1");
  old.close();
  using ledger = new Ledger(file);
  expect(ledger.unfinishedRuns("garden")).toHaveLength(1);
  expect(ledger.baselineOf("a")).toEqual([
    { role: "camera", device: "Camera A", setting: { key: "gain", value: 120 } },
  ]);
});

test.each([
  ["a setting", "update baselines set value = '121' where position = 0"],
  ["a value that is no JSON", "update baselines set value = '[1,' where position = 0"],
  ["rows of a baseline", "delete from baselines where position > 3"],
  ["a whole baseline", "delete from baselines"],
  ["the stage", "update runs set stage = 'closed'"],
  ["the stage's spelling", "update runs set stage = 'chbnging'"],
  ["the rig's name", "update runs set rig = 'gbrden'"],
  ["a retreat", "update retreats set kind = 'other'"],
])("changed by another hand, %s: damaged, and refused", (_, change) => {
  {
    using ledger = new Ledger(file);
    fill(ledger);
    const retreat = { rig: "garden", runId: "1", utcMs: 1, kind: "brightness" } as const;
    saveRetreats(ledger, [{ ...retreat, reason: "far too bright", lastConfirmed: "2026-05-01" }], silentLog);
    ledger.database.run(change);
  }
  expect(troubleOf(file)).toBe("damaged");
});

// Every byte of the file or of its log may be another one. A run that was not put back is either still known, with its
// whole baseline, or something is said; never is it gone without a word.
const seed = Number(process.env.SEED ?? 20261130);
const random = new Random(seed);
const count = Number(process.env.COUNT ?? 200);
const seen = { same: 0, refused: 0, salvaged: 0, fromFolder: 0 };

test(`damage anywhere (seed ${seed}, ${count} files): an unfinished run is never lost without a word`, () => {
  const kept = join(folder, "kept");
  {
    const ledger = new Ledger(file);
    fill(ledger);
    for (const part of ["", "-wal"]) copyFileSync(file + part, kept + part); // as a kill leaves it
    ledger[Symbol.dispose]();
  }
  copyFileSync(file, join(folder, "whole"));
  for (let trial = 0; trial < count; trial++) {
    const ofLog = trial % 4 === 0;
    const bytes = readFileSync(ofLog ? `${kept}-wal` : join(folder, "whole"));
    damage(bytes);
    const path = join(folder, `trial-${trial}.sqlite`);
    if (ofLog) {
      copyFileSync(kept, path);
      writeFileSync(`${path}-wal`, bytes);
    } else writeFileSync(path, bytes);
    check(path, { withFolders: ofLog || trial % 2 === 1, origin: `seed ${seed}, file ${trial}` });
    for (const part of ["", "-wal", "-shm"]) rmSync(path + part, { force: true });
  }
  expect(Math.min(...Object.values(seen)), JSON.stringify(seen)).toBeGreaterThan(0); // each of them has been tried
});

function damage(bytes: Buffer): void {
  const kind = random.whole(0, 4);
  const at = random.whole(0, bytes.length - 1);
  if (kind === 0) bytes[at]! ^= 1 << random.whole(0, 7);
  else if (kind === 1) bytes[at] = random.whole(0, 255);
  else if (kind === 2) bytes.fill(0, at, at + random.whole(1, 600));
  else if (kind === 3) bytes.copyWithin(at, random.whole(0, bytes.length - 1), bytes.length);
  else for (let i = 0; i < 20; i++) bytes[random.whole(0, bytes.length - 1)] = random.whole(0, 255);
}

function check(path: string, { withFolders, origin }: { withFolders: boolean; origin: string }): void {
  const runsFolders = withFolders ? [folder] : [];
  let ledger: Ledger | undefined;
  let refused = false;
  try {
    new Ledger(path)[Symbol.dispose]();
  } catch (error) {
    expect(error, origin).toBeInstanceOf(LedgerError);
    refused = true;
  }
  try {
    ledger = new Ledger(path, { acceptDamage: true });
  } catch (error) {
    expect(error, origin).toBeInstanceOf(LedgerError);
  }
  const { runs } = findUnfinishedRuns({ ledger, ledgerFile: path, runsFolders }, "garden");
  const found = runs.find(({ runId }) => runId === unfinishedId);
  if (found?.baseline) expect(found.baseline, origin).toEqual(entries);
  expect(found !== undefined || refused, `${origin}: the run is lost without a word`).toBe(true);
  if (withFolders) expect(found?.baseline, `${origin}: its folder had it`).toEqual(entries);
  const whole = withFolders ? "fromFolder" : "salvaged";
  seen[!refused ? "same" : found?.baseline ? whole : "refused"]++;
  ledger?.[Symbol.dispose]();
}
