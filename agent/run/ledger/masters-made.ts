import { resolve } from "node:path";
import { foundBy } from "../record/found-in-record.ts";
import type { StepRecord } from "../record/run-record.ts";
import type { MasterRow } from "./history.ts";

/** The master frames that a run's steps made, as the ledger keeps them. */
export function listMasters(
  steps: readonly StepRecord[],
  runId: string,
  folder: string,
): readonly MasterRow[] {
  return steps.flatMap((step): MasterRow[] => {
    const made = { runId, madeUtcMs: step.endedUtcMs };
    const [flat, dark] = [foundBy(step, "flat"), foundBy(step, "darks")];
    if (flat) {
      const { verdict, files, blur, frameCount, exposureSeconds, reasons, proof } = flat;
      const facts = {
        blur,
        frameCount,
        exposureSeconds,
        reasons,
        dust: proof.dust,
        dark: resolve(folder, files.dark),
      };
      return [{ ...made, kind: "flat", file: resolve(folder, files.flat), verdict, facts }];
    }
    if (dark) {
      const { file, frameCount, exposureSeconds } = dark;
      const facts = { frameCount, exposureSeconds };
      return [{ ...made, kind: "dark", file: resolve(folder, file), verdict: "none", facts }];
    }
    return [];
  });
}
