import { spawn } from "node:child_process";
import { once } from "node:events";
import { mkdtempSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { ownCommand } from "../../drivers/kit/place.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { rigTextFor } from "../stage/rig-text.ts";
import { tinyScene } from "../stage/scenes.ts";
import { RigProcess } from "./rig-process.ts";

/** A site at which it is noon now. */
function sceneOfNow() {
  const nowMs = Date.now();
  const longitudeDegrees = 180 - ((nowMs % 86_400_000) / 86_400_000) * 360;
  const site = { ...tinyScene.site, latitudeDegrees: 0, longitudeDegrees };
  return { ...tinyScene, site, startUtc: new Date(nowMs).toISOString() };
}

/** `evenfield drill` against a simulated rig. @returns its exit code, or 1 if the rig is not as it was */
export async function run(print: (line: string) => void): Promise<number> {
  const scene = sceneOfNow();
  const folder = mkdtempSync(join(tmpdir(), "evenfield-drill-"));
  const time = { speed: 1, startUtcMs: Date.parse(scene.startUtc), epochMs: Date.now() };
  const rig = await RigProcess.start(time, scene);
  try {
    const rigFile = join(folder, "rig.yaml");
    writeFileSync(rigFile, rigTextFor(scene, { silenceSecondsMax: 20 }).replace("7624", String(rig.port)));
    const before = await rig.account();
    const files = ["--ledger", join(folder, "ledger.sqlite"), "--runs", join(folder, "runs")];
    const [program, ...args] = [
      ...ownCommand(),
      "drill",
      "--rig",
      rigFile,
      "--present",
      "S. Example",
      ...files,
    ];
    const child = spawn(program!, args, { stdio: ["ignore", "inherit", "inherit"] });
    const [exitCode] = (await once(child, "exit")) as [number | null];
    const left = accountDifferences(before, await rig.account(), { connections: true });
    print(`exit code ${exitCode}; by the world's own account: ${left.join("; ") || "as it was"}`);
    return left.length > 0 ? 1 : (exitCode ?? 1);
  } finally {
    rig.stop();
    rmSync(folder, { recursive: true, force: true });
  }
}
