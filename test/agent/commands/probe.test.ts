import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { probe } from "../../../agent/commands/probe.ts";
import { resultSchemas } from "../../../agent/commands/result-schemas.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import type { HttpExchange } from "../../../drivers/kit/http-link.ts";
import { neverAborted } from "../../../drivers/kit/never-aborted.ts";
import { accountDifferences } from "../../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../../sim-devices/start-simulator.ts";
import { smallScene } from "../../stage/scenes.ts";
import { TestHost } from "./command-host.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-probe-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const places = { runs: join(folder, "runs"), ledger: join(folder, "ledger.sqlite") };

test.each([
  { name: "SIGTERM", terminalIsGone: false },
  { name: "SIGHUP", terminalIsGone: true },
] as const)(
  "$name while probe connects (terminal gone: $terminalIsGone): exit code 130, and no device is left connected",
  async ({ name, terminalIsGone }) => {
    await using simulator = await startSimulator({ spec: smallScene, clock: systemClock, indiPort: 0 });
    const before = simulator.world.account();
    const rig = join(folder, "rig.yaml");
    writeFileSync(
      rig,
      readFileSync(join(root, "plans/demo-rig.yaml"), "utf8")
        .replace("port: 7624", `port: ${simulator.indi!.port}`)
        .replace("Scene Focuser", "Nobody"), // waited for while the others connect
    );
    const probe = Bun.spawn([process.execPath, "agent/main.ts", "probe", "--rig", rig], {
      cwd: root,
      stdout: "pipe",
      stderr: "pipe",
    });
    const connected = () =>
      accountDifferences(before, simulator.world.account(), { connections: true }).length;
    while (connected() < 8) await Bun.sleep(5);
    if (terminalIsGone) await probe.stderr.cancel();
    probe.kill(name);
    if (!terminalIsGone)
      expect(await new Response(probe.stderr).text()).toContain("Nothing on the rig was changed");
    expect({ exitCode: await probe.exited, connected: connected() }).toEqual({ exitCode: 130, connected: 0 });
  },
);

test("probe says what the mount believes of site and clock, beside what the rig file and this computer do", async () => {
  const host = new TestHost();
  const spec = { ...smallScene, startUtc: new Date(host.clock.nowMs()).toISOString() };
  await using simulator = await startSimulator({ spec, clock: host.clock });
  simulator.world.mount.clockErrorSeconds = 3600;
  const rig = join(root, "plans/demo-rig.yaml");
  const openers = () => simulator.openIndi;
  const { text, result } = await host.clock.drive(probe({ rig, openers, ...places }, host, neverAborted));
  expect(text).toContain("the mount's site: agrees; its site is 46.50°, 9.80°");
  expect(text).toMatch(/the mount's clock: wrong; its clock reads .* 1\.00 h ahead \(local time seems/);
  expect(text).toContain("the mount's sidereal time: not checked; it does not tell");
  expect(result).toMatchObject({ belief: [{ what: "site" }, { what: "clock", verdict: "wrong" }, {}] });
});

test("probe says which plans a run would begin now, and what is missing for the others", async () => {
  const host = new TestHost();
  const spec = { ...smallScene, startUtc: new Date(host.clock.nowMs()).toISOString() };
  await using simulator = await startSimulator({ spec, clock: host.clock });
  const before = simulator.world.account();
  const rig = join(folder, "without-diffuser.yaml");
  const demo = readFileSync(join(root, "plans/demo-rig.yaml"), "utf8");
  writeFileSync(rig, demo.replace(/ {2}diffuser: .*\n/, ""));
  const openers = () => simulator.openIndi;
  const outcome = await host.clock.drive(probe({ rig, openers, ...places }, host, neverAborted));
  const { text } = outcome;
  const result = resultSchemas.probe.parse(outcome.result);
  expect(result.offered.scene).toContain("Scene Diffuser");
  expect(text).toContain("scene offers Scene ");
  expect(Object.fromEntries(result.plans.map(({ plan, ready }) => [plan, ready]))).toMatchObject({
    "first-flat": false,
    "images-all-day": false,
  });
  expect(text).toMatch(/first-flat: NOT ready\n +NO +devices: step 2 \(leak-check\) needs a diffuser/);
  expect(text).toMatch(/yes +Sun: the Sun is \d\d\.\d° high/);
  expect(text).toMatch(/yes +Sun filter: .* 43 days ago; again within 357 days/);
  expect(text).toMatch(/fullScale: \d+ adu, \d+ bits/);
  expect(text).toMatch(/disc: .*the disc's radius is \d+ px in a frame of/);
  expect(accountDifferences(before, simulator.world.account(), { connections: true })).toEqual([]);
});

test("rain now: no plan is ready, and the station's word is told", async () => {
  const host = new TestHost();
  const spec = { ...smallScene, startUtc: new Date(host.clock.nowMs()).toISOString() };
  await using simulator = await startSimulator({ spec, clock: host.clock });
  simulator.world.weather.change({ rain: 5, forecast: 2 });
  const rig = join(root, "plans/demo-rig.yaml");
  const openers = () => simulator.openIndi;
  const { text } = await host.clock.drive(probe({ rig, openers, ...places }, host, neverAborted));
  expect(text).toMatch(/NO +guard: .*weather unsafe.*\n +Start when this is over\./);
  expect(text.match(/weather unsafe/g)).toHaveLength(1);
  expect(text.match(/NOT ready/g)).toHaveLength(4);
});

test("ten Alpaca devices at 1.2 s a reply: asked and let go side by side, and the camera once for all plans", async () => {
  const host = new TestHost();
  const spec = { ...smallScene, startUtc: new Date(host.clock.nowMs()).toISOString() };
  await using simulator = await startSimulator({ spec, clock: host.clock });
  const before = simulator.world.account();
  const asked: string[] = [];
  const exchanges = (): HttpExchange => {
    const inner = simulator.openAlpaca();
    return {
      exchange: async (request) => {
        asked.push(request.path);
        await host.clock.sleep(1.2, request.signal);
        return inner.exchange(request);
      },
      reset: () => inner.reset(),
      close: () => inner.close(),
    };
  };
  const rig = join(root, "plans/demo-rig-alpaca.yaml");
  const openers = () => simulator.openIndi;
  const startMs = host.clock.nowMs();
  await host.clock.drive(probe({ rig, openers, exchanges, ...places }, host, neverAborted));
  expect((host.clock.nowMs() - startMs) / 1000).toBeLessThan(15);
  expect(asked.filter((path) => path.endsWith("camera/0/numx")).length).toBeLessThanOrEqual(2);
  expect(accountDifferences(before, simulator.world.account(), { connections: true })).toEqual([]);
});
