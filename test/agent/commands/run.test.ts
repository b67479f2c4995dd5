import { EventEmitter } from "node:events";
import { mkdtempSync, readdirSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { Command } from "commander";
import { afterEach, beforeEach, expect, test } from "vitest";
import { registerDrill } from "../../../agent/commands/drill.ts";
import { ledgerFileDefault } from "../../../agent/commands/ledger-place.ts";
import { conclude, exitCodes, type Outcome } from "../../../agent/commands/outcome.ts";
import { restore } from "../../../agent/commands/restore.ts";
import { type RunWiring, registerRun, run, runOutcome } from "../../../agent/commands/run.ts";
import { stopWordsOfRun } from "../../../agent/commands/stop-signals.ts";
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { lockRig } from "../../../agent/run/machine/rig-lock.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { VirtualClock } from "../../../drivers/kit/virtual-clock.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { type BrokenFile, brokenPlans, brokenRigs, goodPlan, goodRig } from "../../plans/broken-files.ts";
import { FakeRun, usualWorks } from "../run/fake-run.ts";
import { presentKeeper } from "../run/present-keeper.ts";

let folder: string;
let said: { stdout: string; stderr: string; exitCode: number | undefined };
let touched: number;
const clock = new VirtualClock(Date.UTC(2026, 5, 20, 10));
const host = {
  clock,
  live: false,
  stdout: (text: string) => {
    said.stdout += text;
  },
  stderr: (text: string) => {
    said.stderr += text;
  },
  setExitCode: (code: number) => {
    said.exitCode = code;
  },
};

beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), "evenfield-command-"));
  said = { stdout: "", stderr: "", exitCode: undefined };
  touched = 0;
});
afterEach(() => rmSync(folder, { recursive: true, force: true }));

/** A rig whose links must not be opened. */
const wiring: RunWiring = {
  get lockFolder() {
    return locks();
  },
  openers: () => () => {
    touched++;
    return Promise.reject(new Error("nobody listens"));
  },
  log: silentLog,
  random: new Random(1),
  signal: new AbortController().signal,
  keepers: () => [presentKeeper],
  writeOutputs: async () => [],
};
const ledgerFile = () => join(folder, "ledger.sqlite");
const locks = () => join(folder, "locks");

function write(name: string, text: string): string {
  writeFileSync(join(folder, name), text);
  return join(folder, name);
}

async function runWith(plan: string, rig: string): Promise<void> {
  const options = {
    rig: write("rig.yaml", rig),
    runs: join(folder, "runs"),
    ledger: ledgerFile(),
    unattended: true,
  };
  await conclude(host, { command: "run", json: false }, () =>
    run(write("plan.yaml", plan), options, wiring, host),
  );
}

const changed = (good: string, { change: [find, put] }: BrokenFile) => good.replace(find, put);

test.each(brokenPlans)(
  "a plan with $fault: exit code 2, the line on stderr, nothing opened, nothing made",
  async (file) => {
    await runWith(changed(goodPlan, file), goodRig);
    expect(said.exitCode).toBe(2);
    expect(said.stderr).toContain(`plan.yaml:${file.line}: ${file.message}`);
    expect(said.stderr).toContain("Nothing on the rig was touched.");
    expect(touched).toBe(0);
    expect(readdirSync(folder).toSorted()).toEqual(["plan.yaml", "rig.yaml"]);
  },
);

test.each(brokenRigs)(
  "a rig file with $fault: exit code 2, the line on stderr, nothing opened, nothing made",
  async (file) => {
    await runWith(goodPlan, changed(goodRig, file));
    expect(said.exitCode).toBe(2);
    expect(said.stderr).toContain(`rig.yaml:${file.line}: ${file.message}`);
    expect(touched).toBe(0);
    expect(readdirSync(folder).toSorted()).toEqual(["plan.yaml", "rig.yaml"]);
  },
);

test("a filter that has to be confirmed again: exit code 4 with the cautions, no link opened", async () => {
  const rig = goodRig
    .replace("{ by: hand }", "{ server: home, device: Sheet A }")
    .replace("2026-05-01", "2026-04-01");
  await runWith(goodPlan, rig);
  expect(said.exitCode).toBe(4);
  expect(said.stdout).toContain("the Sun filter was last confirmed on 2026-04-01, 80 days ago");
  expect(said.stdout).toContain("Never look through the telescope");
  expect(said.stdout).toContain("Nothing on the rig was changed.");
  expect(touched).toBe(0);
});

test("what is moved by hand refuses an unattended run: exit code 2, no link opened", async () => {
  await runWith(goodPlan, goodRig);
  expect(said.exitCode).toBe(2);
  expect(said.stdout).toContain("the diffuser is moved by hand, and nobody is there");
  expect(touched).toBe(0);
});

test("whoever is at the rig is asked about finders and filter before anything is connected; no: exit code 4", async () => {
  const questions: string[] = [];
  const askPerson = async (question: string) => {
    questions.push(question);
    return "no" as const;
  };
  const options = { rig: write("rig.yaml", goodRig), runs: join(folder, "runs"), ledger: ledgerFile() };
  await conclude(host, { command: "run", json: false }, () =>
    run(write("plan.yaml", goodPlan), options, { ...wiring, askPerson }, host),
  );
  expect(questions).toEqual([expect.stringMatching(/every finder capped.*eye/s)]);
  expect(said.exitCode).toBe(4);
  expect(said.stderr).toContain("Nothing was connected and nothing was moved.");
  expect(touched).toBe(0);
  expect(readdirSync(folder).toSorted()).toEqual(["plan.yaml", "rig.yaml"]);
});

test.each([
  ["run", (program: Command) => registerRun(program, async () => [])],
  ["drill", registerDrill],
] as const)("help of what turns a telescope begins with what can hurt: %s", (_name, register) => {
  const program = new Command("evenfield");
  register(program);
  const help: string[] = [];
  const [command] = program.commands;
  command!.configureOutput({ writeOut: (text) => void help.push(text) }).outputHelp();
  expect(help.join("")).toMatch(/^Never look at the Sun.*Usage:/s);
  expect(help.join("")).toContain("filter maker's guidance");
});

test("a rig in the hands of another process: exit code 4", async () => {
  using lock = await lockRig(ledgerFile(), readRigFile(goodRig, "rig.yaml"), { clock, lockFolder: locks() });
  await runWith(goodPlan, goodRig);
  expect(lock).toBeDefined();
  expect(said).toMatchObject({ exitCode: 4 });
  expect(said.stderr).toContain("another evenfield process is using the rig garden");
});

test("how a run ended is told in three sentences, and the same in one JSON object", async () => {
  using fake = new FakeRun();
  const outcome = runOutcome(await fake.run(usualWorks));
  expect(outcome.exitCode).toBe(exitCodes.done);
  expect(outcome.text.split("\n")).toEqual([
    "The plan morning is done. Verdict of the flat: good.",
    "The rig is as it was found (25 settings read back). The cover is closed.",
    expect.stringContaining("Look into"),
  ]);
  expect(JSON.parse(JSON.stringify(outcome.result))).toMatchObject({
    ended: "completed",
    verdict: "good",
    exitCode: 0,
  });
});

test("a rig left different is told setting by setting", async () => {
  using fake = new FakeRun();
  fake.rig.afterChange = (what) => {
    if (what === "diffuser.position") fake.rig.stuck.add("diffuser.position");
  };
  const { text } = runOutcome(await fake.run(usualWorks));
  expect(text).toContain('Not as it was found: Fake diffuser: position was "open" and is "closed"');
  expect(text).toContain("evenfield restore");
});

test("restore with nothing unfinished opens no link", async () => {
  const options = {
    rig: write("rig.yaml", goodRig),
    ledger: ledgerFile(),
    ledgerByDefault: true,
    runs: folder,
  };
  await conclude(host, { command: "restore", json: false }, () => restore(options, wiring, host));
  new Ledger(ledgerFile())[Symbol.dispose]();
  await conclude(host, { command: "restore", json: false }, () => restore(options, wiring, host));
  expect(said.stdout.match(/nothing to restore/g)).toHaveLength(2);
  expect(said.exitCode).toBe(0);
  expect(touched).toBe(0);
});

test("restore of a rig that does not answer: exit code 6; accepted as it is, the next one has nothing to do", async () => {
  const options = { rig: write("rig.yaml", goodRig), ledger: ledgerFile(), runs: folder };
  {
    using ledger = new Ledger(ledgerFile());
    const runId = ledger.beginRun({ rig: "garden", plan: "morning", folder, startedUtcMs: 0 });
    ledger.saveBaseline(runId, [{ role: "camera", device: "Camera A", setting: { key: "gain", value: 1 } }]);
  }
  await clock.drive(
    conclude(host, { command: "restore", json: false }, () => restore(options, wiring, host)),
  );
  expect(said.exitCode).toBe(6);
  expect(said.stderr).toContain("Close the cover by hand.");
  expect(touched).toBeGreaterThan(0);
  await conclude(host, { command: "restore", json: true }, () =>
    restore({ ...options, accept: true }, wiring, host),
  );
  expect(said.exitCode).toBe(0);
  await conclude(host, { command: "restore", json: false }, () => restore(options, wiring, host));
  expect(said.stdout).toContain("nothing to restore");
});

test("the first Ctrl-C asks for a stop, the next ones are told to wait, and none is left listening", async () => {
  const signals = new EventEmitter();
  const stopped = async (signal: AbortSignal): Promise<Outcome> => {
    signals.emit("SIGINT");
    expect(signal.aborted).toBe(true);
    signals.emit("SIGTERM");
    signals.emit("SIGHUP");
    return { exitCode: exitCodes.stopped, result: {}, text: String(signal.reason) };
  };
  await conclude({ ...host, signals }, { command: "run", json: false }, stopped, stopWordsOfRun);
  expect(said.stdout).toContain("stopped by the operator");
  expect(said.stderr).toMatch(/^Stopping: .*\nStill putting the rig back.*\nStill putting the rig back/);
  expect(signals.eventNames()).toEqual([]);
});

test("a command that a stop cuts short ends with exit code 130 and says in what state things are", async () => {
  const signals = new EventEmitter();
  const waiting = async (signal: AbortSignal): Promise<Outcome> => {
    const ended = systemClock.sleep(3600, signal);
    signals.emit("SIGTERM");
    await ended;
    throw new Error("it was not stopped");
  };
  await conclude({ ...host, signals }, { command: "run", json: true }, waiting);
  expect(said.exitCode).toBe(130);
  expect(JSON.parse(said.stdout)).toMatchObject({
    ended: "failed",
    exitCode: 130,
    state: "Nothing was changed.",
  });
  expect(said.stderr).toContain("Stopped by the operator.");
});

test("restore that is stopped while it connects has put nothing back: exit code 6, for the next one to do it", async () => {
  const rig = write("rig.yaml", goodRig);
  using ledger = new Ledger(ledgerFile());
  const runId = ledger.beginRun({ rig: "garden", plan: "morning", folder, startedUtcMs: 0 });
  ledger.saveBaseline(runId, [{ role: "camera", device: "Camera A", setting: { key: "gain", value: 1 } }]);
  const signals = new EventEmitter();
  await conclude({ ...host, signals }, { command: "run", json: false }, (signal) => {
    const openers = () => async () => {
      signals.emit("SIGTERM");
      throw new Error("nobody listens");
    };
    return restore({ rig, ledger: ledgerFile(), runs: folder }, { ...wiring, openers, signal }, host);
  });
  expect(said.exitCode).toBe(6);
  expect(said.stderr).toContain("Stopped by the operator before anything was put back.");
  expect(ledger.unfinishedRuns("garden")).toHaveLength(1);
});

test("the ledger is the user's, wherever a command is started", () => {
  expect(ledgerFileDefault({ XDG_DATA_HOME: "/data" })).toBe("/data/evenfield/ledger.sqlite");
});
