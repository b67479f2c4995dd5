import type { Proof, ProofInput } from "../../imaging/proof/proof.ts";
import { computeInThread } from "../../threads/compute-in-thread.ts";
import type { Workbench } from "../step.ts";

/** Proves a flat beside the watch over the rig; of the series only what the proof reads goes along. */
export function proveInThread(bench: Workbench, input: ProofInput, signal: AbortSignal): Promise<Proof> {
  const { series, independent } = input;
  return computeInThread(bench, { signal, pxCount: input.flat.gain.length }, "proveFlat", {
    ...input,
    series: {
      frameCount: series.frameCount,
      clippedFraction: series.clippedFraction,
      growth: series.growth,
      halves: series.halves,
    },
    independent: {
      meanAdu: independent.meanAdu,
      sigmaAdu: independent.sigmaAdu,
      mask: independent.mask,
      frameCount: independent.frameCount,
    },
  });
}
