import { resolve } from "node:path";
import type { DarksFound } from "../../procedures/darks/darks.ts";
import type { FlatFound } from "../../procedures/flat/flat-ask.ts";
import type { MasterRow } from "../ledger/history.ts";
import type { StepRecord } from "./run-record.ts";

/** The master frames that a run's steps made, as the ledger keeps them. */
export function mastersMade(
  steps: readonly StepRecord[],
  runId: string,
  folder: string,
): readonly MasterRow[] {
  return steps.flatMap((step): MasterRow[] => {
    if (step.found === undefined) return [];
    const made = { runId, madeUtcMs: step.endedUtcMs };
    if (step.kind === "flat") {
      const { verdict, files, blur, frameCount, exposureSeconds, reasons, proof } = step.found as FlatFound;
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
    if (step.kind === "darks") {
      const { file, frameCount, exposureSeconds } = step.found as DarksFound;
      const facts = { frameCount, exposureSeconds };
      return [{ ...made, kind: "dark", file: resolve(folder, file), verdict: "none", facts }];
    }
    return [];
  });
}
