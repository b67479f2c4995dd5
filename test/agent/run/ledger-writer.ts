/** A process of its own for `ledger.test.ts`: promises a baseline on its standard output, then waits to be killed. */
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { lockRig } from "../../../agent/run/machine/rig-lock.ts";

const file = process.argv[2]!;
const lock = lockRig(file, "garden");
const ledger = new Ledger(file);
const runId = ledger.beginRun({ rig: "garden", plan: "morning", folder: "x", startedUtcMs: 0 });
ledger.saveBaseline(
  runId,
  Array.from({ length: 500 }, (_, i) => ({
    role: "camera" as const,
    device: "Camera A",
    setting: { key: `key${i}`, value: [i, i + 0.5] },
  })),
);
ledger.markRestored(runId, { role: "camera", device: "Camera A" }, "key7", true);
process.stdout.write("promised\n");
setInterval(() => lock, 1000);
