import { Database } from "bun:sqlite";
import { mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { conclude } from "../../../agent/commands/outcome.ts";
import { type RunCommandOptions, run } from "../../../agent/commands/run.ts";
import { saveBaseline } from "../../../agent/run/ledger/baseline.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { makeRunFolder } from "../../../agent/run/ledger/run-folders.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { goodPlan, goodRig } from "../../plans/broken-files.ts";
import { TestHost } from "./command-host.ts";

// What a person names that can't be used: one plain line, nothing on the rig touched, and no talk of a fault of ours.

let folder: string;
let connecting: number;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-run-mistakes-"));
  writeFileSync(at("rig.yaml"), goodRig.replace("{ by: hand }", "{ server: home, device: Sheet A }"));
  writeFileSync(at("plan.yaml"), goodPlan);
  connecting = 0;
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const at = (name: string) => join(folder, name);

async function runWith(options: Partial<RunCommandOptions>): Promise<TestHost> {
  const host = new TestHost();
  const wiring = {
    openers: () => () => {
      connecting++;
      return Promise.reject(new Error("nobody listens"));
    },
    log: silentLog,
    random: new Random(1),
    signal: neverAborted,
    lockFolder: at("locks"),
    keepers: () => [],
    writeOutputs: async () => [],
  };
  const all = {
    rig: at("rig.yaml"),
    runs: at("runs"),
    ledger: at("ledger.sqlite"),
    unattended: true,
    ...options,
  };
  await host.clock.drive(
    conclude(host, { command: "run", json: false }, () => run(at("plan.yaml"), all, wiring, host)),
  );
  expect(host.err).not.toContain("fault of evenfield");
  expect(connecting).toBe(0);
  return host;
}

test.each<[what: string, options: () => Partial<RunCommandOptions>, message: string]>([
  ["a text as the ledger", () => ({ ledger: at("plan.yaml") }), "plan.yaml is no ledger of evenfield"],
  ["a folder as the ledger", () => ({ ledger: folder }), "can't be opened"],
  ["a ledger below a file", () => ({ ledger: at("plan.yaml/ledger.sqlite") }), "can't be opened"],
  [
    "another program's database as the ledger",
    () => {
      new Database(at("songs.sqlite"), { create: true }).run("create table songs (name text)");
      return { ledger: at("songs.sqlite") };
    },
    "it is another program's database",
  ],
  ["a file as the folder of runs", () => ({ runs: at("plan.yaml") }), "No folder for the run can be made in"],
  ["runs below a file", () => ({ runs: at("plan.yaml/runs") }), "No folder for the run can be made in"],
])("%s: exit code 2", async (_, options, message) => {
  const host = await runWith(options());
  expect(host.exitCode).toBe(2);
  expect(host.err).toContain(message);
  expect(host.err).toContain("Nothing on the rig was touched.");
  expect(host.err.trim().split("\n")).toHaveLength(3);
});

test("a ledger that is no more, and a run folder that tells of a run not put back: exit code 6, and restore first", async () => {
  {
    using ledger = new Ledger(at("ledger.sqlite"));
    const begun = { rig: "garden", plan: "morning", folder: at("runs/one"), startedUtcMs: 1000 };
    mkdirSync(begun.folder, { recursive: true });
    const setting = { key: "gain", value: 1 };
    const runId = ledger.beginRun(begun);
    saveBaseline(ledger, { ...begun, runId }, [{ role: "camera", device: "Camera A", setting }]);
  }
  writeFileSync(at("ledger.sqlite"), "noise ".repeat(5000));
  const host = await runWith({});
  expect(host.exitCode).toBe(6);
  expect(host.err).toContain(`it was not put back after ${at("runs/one")}`);
  expect(host.err).toContain("Run `evenfield restore --rig RIG` first, which needs no ledger.");
  expect(readdirSync(at("runs"))).toEqual(["one"]);
});

test("two runs that begin in the same second never share a folder", () => {
  const begun = { utcMs: Date.UTC(2026, 5, 20, 10, 15), rig: "garden", plan: "first-flat" };
  const made = [1, 2, 3].map(() => makeRunFolder(at("runs"), begun));
  expect(made.map((path) => path.slice(at("runs/").length))).toEqual([
    "2026-06-20T101500Z-garden-first-flat",
    "2026-06-20T101500Z-garden-first-flat-2",
    "2026-06-20T101500Z-garden-first-flat-3",
  ]);
});
