import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { accountDifferences } from "../../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../../sim-devices/start-simulator.ts";
import { smallScene } from "../../stage/scenes.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-probe-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

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
