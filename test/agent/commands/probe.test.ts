import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { afterAll, expect, test } from "vitest";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { accountDifferences } from "../../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../../sim-devices/start-simulator.ts";
import { smallScene } from "../../runs/small-scene.ts";

const root = join(import.meta.dirname, "../../..");
const folder = mkdtempSync(join(tmpdir(), "evenfield-probe-"));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

test("SIGTERM while probe connects: exit code 130, and no device is left connected", async () => {
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
  const areConnected = () =>
    accountDifferences(before, simulator.world.account(), { connections: true }).length;
  while (areConnected() < 8) await Bun.sleep(5);
  probe.kill("SIGTERM");
  const said = await new Response(probe.stderr).text();
  expect({ exitCode: await probe.exited, connected: areConnected(), said }).toEqual({
    exitCode: 130,
    connected: 0,
    said: expect.stringContaining("Nothing on the rig was changed"),
  });
});
