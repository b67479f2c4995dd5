import { Database } from "bun:sqlite";
import { existsSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterEach, beforeEach, expect, test } from "vitest";
import { conclude } from "../../../agent/commands/outcome.ts";
import { type RestoreCommandOptions, restore } from "../../../agent/commands/restore.ts";
import type { RigWiring } from "../../../agent/commands/rig-wiring.ts";
import { type BegunRun, saveBaseline } from "../../../agent/run/ledger/baseline.ts";
import { readBaselineFile } from "../../../agent/run/ledger/baseline-file.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { goodRig } from "../../plans/broken-files.ts";
import { TestHost } from "./command-host.ts";

let folder: string;
let host: TestHost;
let connecting: number;
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-restore-"));
  writeFileSync(at("rig.yaml"), goodRig);
  mkdirSync(at("runs"));
  connecting = 0;
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

const at = (name: string) => join(folder, name);

/** Of a rig that nobody reaches: what it would put back it says by trying to connect, and exit code 6. */
async function restoreWith(
  options: Partial<RestoreCommandOptions> = {},
  askPerson?: RigWiring["askPerson"],
): Promise<TestHost> {
  host = new TestHost();
  const wiring = {
    openers: () => () => {
      connecting++;
      return Promise.reject(new Error("nobody listens"));
    },
    log: silentLog,
    random: new Random(1),
    signal: neverAborted,
    lockFolder: at("locks"),
    ...(askPerson ? { askPerson } : {}),
  };
  const all = { rig: at("rig.yaml"), ledger: at("ledger.sqlite"), runs: at("runs"), ...options };
  await host.clock.drive(
    conclude(host, { command: "restore", json: false }, () => restore(all, wiring, host)),
  );
  return host;
}

/** A run that was cut off, in its folder and in the ledger. */
function unfinishedRun(): BegunRun {
  using ledger = new Ledger(at("ledger.sqlite"));
  const run = { rig: "garden", plan: "morning", folder: at("runs/one"), startedUtcMs: 1000 };
  mkdirSync(run.folder);
  const begun = { ...run, runId: ledger.beginRun(run) };
  saveBaseline(ledger, begun, [{ role: "camera", device: "Camera A", setting: { key: "gain", value: 1 } }]);
  return begun;
}

const triesToRestore = () => expect(host.exitCode === 6 && connecting > 0, host.err + host.out).toBe(true);
const noise = () => writeFileSync(at("ledger.sqlite"), "noise ".repeat(5000));

test("nobody is asked before an open telescope is made safe, though a person sits at the terminal", async () => {
  unfinishedRun();
  const asked: string[] = [];
  await restoreWith({}, async (question) => {
    asked.push(question);
    return "no";
  });
  triesToRestore();
  expect(asked).toEqual([]);
});

test("nothing to restore is said only where that is known", async () => {
  const missing = await restoreWith();
  expect(missing.exitCode).toBe(2);
  expect(missing.err).toContain(`There is no ledger ${at("ledger.sqlite")}, so whether something is left`);
  const first = await restoreWith({ ledgerByDefault: true });
  expect(first).toMatchObject({ exitCode: 0 });
  expect(first.out).toContain("nothing to restore, no run was made by this user yet");
  expect(readdirSync(folder).toSorted()).toEqual(["locks", "rig.yaml", "runs"]);
  new Ledger(at("ledger.sqlite"))[Symbol.dispose]();
  expect((await restoreWith()).out).toContain("nothing to restore, no run of it is unfinished");
  writeFileSync(at("notes.txt"), "a text\n".repeat(100));
  const text = await restoreWith({ ledger: at("notes.txt") });
  expect(text.exitCode).toBe(2);
  expect(text.err).toContain("notes.txt is no ledger of evenfield");
  expect(text.err).not.toContain("fault of evenfield");
  expect(connecting).toBe(0);
});

test.each([
  ["missing", () => rmSync(at("ledger.sqlite"))],
  ["overwritten", noise],
  [
    "a folder",
    () => {
      rmSync(at("ledger.sqlite"));
      mkdirSync(at("ledger.sqlite"));
    },
  ],
])("a ledger that is %s: the run's folder is enough", async (_, happens) => {
  unfinishedRun();
  happens();
  await restoreWith();
  triesToRestore();
});

test("a ledger that another program holds for itself: the run's folder is enough", async () => {
  unfinishedRun();
  const other = new Database(at("ledger.sqlite"));
  other.run("pragma journal_mode = delete");
  other.run("begin exclusive");
  await restoreWith();
  triesToRestore();
  other.close();
});

test("the folder can be named, wherever it lies; one that is of no use is told as what it is", async () => {
  unfinishedRun();
  rmSync(at("ledger.sqlite"));
  await restoreWith({ from: at("runs/one"), runs: at("nowhere") });
  triesToRestore();
  connecting = 0;
  expect((await restoreWith({ from: at("runs") })).err).toContain("holds no baseline.json");
  writeFileSync(at("rig.yaml"), goodRig.replace("rig: garden", "rig: roof"));
  const other = await restoreWith({ from: at("runs/one") });
  expect(other.err).toContain("is of the rig garden, and the rig file is that of roof");
  expect(other.exitCode).toBe(2);
  writeFileSync(at("runs/one/baseline.json"), "{}");
  expect(await restoreWith({ from: at("runs/one") })).toMatchObject({ exitCode: 6 });
  expect(connecting).toBe(0);
});

test("a ledger that can't be read, and no folder with it: not known, and never nothing to restore", async () => {
  unfinishedRun();
  noise();
  rmSync(at("runs/one"), { recursive: true });
  const lost = await restoreWith();
  expect(lost.exitCode).toBe(2);
  expect(lost.err).toContain("Whether something is left to be put back on garden is not known");
  expect(lost.out).not.toContain("nothing to restore");
});

test("accepted by its folder alone it is so for a ledger too", async () => {
  const run = unfinishedRun();
  rmSync(at("ledger.sqlite"));
  const accepted = await restoreWith({ accept: true });
  expect(accepted.exitCode).toBe(0);
  expect(readBaselineFile(run.folder)).toMatchObject({ state: "accepted as it is" });
  expect(existsSync(at("ledger.sqlite"))).toBe(false);
  expect((await restoreWith({ from: run.folder })).out).toContain("that run is accepted as it is");
});

test("a lock that can't be made keeps nobody from putting the rig back", async () => {
  unfinishedRun();
  writeFileSync(at("locks"), "");
  await restoreWith();
  triesToRestore();
  expect(host.err).toContain("Without a lock");
});
