import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { expect, test } from "vitest";
import { Ledger } from "../../agent/run/ledger/ledger.ts";
import { runPlan } from "../../agent/run/machine/run-plan.ts";
import { silentLog } from "../../drivers/kit/log.ts";
import { Random } from "../../drivers/kit/random.ts";
import { VirtualClock } from "../../drivers/kit/virtual-clock.ts";
import { readPlan } from "../../plans/plan-file.ts";
import { readRigFile } from "../../plans/rig-file.ts";
import { accountDifferences } from "../../sim-devices/scene/world-account.ts";
import { startSimulator } from "../../sim-devices/start-simulator.ts";
import { presentKeeper } from "../agent/run/present-keeper.ts";
import { rigTextFor } from "../stage/rig-text.ts";
import { smallScene } from "../stage/scenes.ts";

const planText = `plan: short
sun: { altitudeDegreesMin: 20 }
steps:
  - centre
  - leak-check: { frames: 4 }
  - flat: { blur: diffuser, frames: 8 }
`;

test("everything on Alpaca, over sockets on loopback: done, and the rig as it was found", async () => {
  const folder = mkdtempSync(join(tmpdir(), "evenfield-http-"));
  // It stands still while an exchange is under way: no deadline passes because the machine is busy.
  const clock = new VirtualClock(Date.parse(smallScene.startUtc));
  await using simulator = await startSimulator({ spec: smallScene, clock, alpacaPort: 0 });
  const before = simulator.world.account();
  try {
    using ledger = new Ledger(join(folder, "ledger.sqlite"));
    const work = runPlan({
      plan: readPlan(planText, "plan.yaml"),
      rigFile: readRigFile(
        rigTextFor(smallScene, { protocol: "alpaca", alpacaPort: simulator.alpaca!.port }),
        "rig.yaml",
      ),
      openers: () => () => Promise.reject(new Error("no device of this rig is on INDI")),
      clock,
      random: new Random(1),
      log: silentLog,
      folder: join(folder, "run"),
      ledger,
      signal: new AbortController().signal,
      unattended: true,
      warn: () => {},
      progress: () => {},
      keepers: [presentKeeper],
      writeOutputs: async () => [],
    });
    const report = await clock.drive(work);
    expect(report).toMatchObject({ ended: "completed", notAsFound: [] });
    expect(["good", "usable"]).toContain(report.record.verdict);
    expect(accountDifferences(before, simulator.world.account(), { connections: true })).toEqual([]);
  } finally {
    rmSync(folder, { recursive: true, force: true });
  }
});
