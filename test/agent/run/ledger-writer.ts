/** A process of its own for `ledger.test.ts`: promises a baseline on its standard output, then waits to be killed. */
import { Ledger } from "../../../agent/run/ledger/ledger.ts";
import { lockRig } from "../../../agent/run/machine/rig-lock.ts";
import { systemClock } from "../../../drivers/kit/clock.ts";
import { readRigFile } from "../../../plans/rig-file.ts";
import { goodRig } from "../../plans/broken-files.ts";

const file = process.argv[2]!;
const rigFile = readRigFile(goodRig, "rig.yaml");
const lock = await lockRig(file, rigFile, { clock: systemClock, lockFolder: `${file}.locks` });
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
process.stdout.write("promised\n");
setInterval(() => lock, 1000);
