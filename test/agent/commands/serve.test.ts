import { EventEmitter } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test, vi } from "vitest";
import { CommandError } from "../../../agent/commands/outcome.ts";
import { type ServeWiring, serve } from "../../../agent/commands/serve.ts";
import { silentLog } from "../../../drivers/kit/log.ts";
import { Random } from "../../../drivers/kit/random.ts";
import { TestHost } from "./command-host.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-serve-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const plan = join(root, "plans/first-flat.yaml");
const schedule = join(folder, "s.yaml");
writeFileSync(
  schedule,
  `schedule: s\nentries:\n  - { entry: evening, plan: ${plan}, when: { localTime: "20:00" } }\n`,
);
const options = {
  rig: join(root, "plans/demo-rig.yaml"),
  ledger: join(folder, "l.sqlite"),
  runs: join(folder, "runs"),
};

function wiring(signal: AbortSignal): ServeWiring {
  return {
    openers: () => () => Promise.reject(new Error("no rig is there")),
    log: silentLog,
    random: new Random(1),
    signal,
    lockFolder: join(folder, "locks"),
    writeOutputs: async () => [],
    keepers: () => [],
  };
}

test("a second service of the same rig is refused while the first stands by, and says until when", async () => {
  const host = Object.assign(new TestHost(), { signals: new EventEmitter() });
  const stop = new AbortController();
  const first = serve(schedule, options, wiring(stop.signal), host);
  await host.clock.drive(host.clock.sleep(600));
  expect(host.err).toBe(
    "2026-07-14 12:00  starting: the schedule and the records of earlier runs are read\n" +
      "2026-07-14 12:00  standing by: the next thing, evening, is due (until 2026-07-14 20:00)\n",
  );
  const second = serve(schedule, options, wiring(stop.signal), new TestHost());
  await expect(second).rejects.toThrow(/another service serves the rig demo already/);
  stop.abort(new Error("SIGTERM"));
  const outcome = await host.clock.drive(first);
  expect(outcome).toMatchObject({ exitCode: 0, result: { rig: "demo", runs: 0 } });
});

test("a schedule with a fault starts nothing, and the line is named", async () => {
  const broken = join(folder, "broken.yaml");
  writeFileSync(broken, 'schedule: s\nentries:\n  - { entry: a, plan: p.yaml, when: { localTime: "8" } }\n');
  const refused = await serve(broken, options, wiring(new AbortController().signal), new TestHost()).catch(
    (error: unknown) => error,
  );
  expect(refused).toBeInstanceOf(CommandError);
  expect((refused as CommandError).told.happened).toContain("broken.yaml:3: `entries[1].when.localTime`");
});

test("a page on another address than this computer's is refused before anything is begun", async () => {
  for (const page of ["0.0.0.0:0", "[::]:0", "192.168.1.20:0", "telescope.example:0", "127.evil.example:0"]) {
    const refused = serve(
      schedule,
      { ...options, page },
      wiring(new AbortController().signal),
      new TestHost(),
    );
    await expect(refused).rejects.toThrow(/others could read the page/);
  }
});

test("the page tells how the service stands, and is gone with it", async () => {
  const host = Object.assign(new TestHost(), { signals: new EventEmitter() });
  const stop = new AbortController();
  const serving = serve(schedule, { ...options, page: "0" }, wiring(stop.signal), host);
  await vi.waitFor(() => expect(host.err).toContain("standing by"), { timeout: 600_000, interval: 5 });
  const address = /The page is at (\S+)/.exec(host.err)![1]!;
  const health = await fetch(`${address}health`);
  expect(await health.json()).toMatchObject({ rig: "demo", state: "standing by" });
  expect(await (await fetch(address)).text()).toContain("evening");
  stop.abort(new Error("SIGTERM"));
  expect(await serving).toMatchObject({ exitCode: 0 });
  await expect(fetch(`${address}health`)).rejects.toThrow();
});
