import { resolve } from "node:path";
import type { Flat } from "../../imaging/combining/normalise-flat.ts";
import type { Proof } from "../../imaging/proof/proof.ts";
import { type SeriesFacts, writeFlatMaster } from "../master-files.ts";
import type { Workbench } from "../step.ts";
import type { Tuned } from "../tune-exposure/tune-ask.ts";
import type { FlatAsk, FlatFound } from "./flat-ask.ts";

export interface FlatMade {
  readonly bench: Workbench;
  readonly ask: FlatAsk;
  readonly flat: Flat;
  readonly proof: Proof;
  readonly facts: SeriesFacts;
  readonly tuned: Tuned;
  /** Below the run's folder. */
  readonly darkFile: string;
  readonly sampleFrame: string;
  readonly frameCount: number;
  readonly bought?: FlatFound["bought"];
  readonly refusedFrames: number;
  readonly rejectedFraction: number;
  readonly upperEdge: FlatFound["upperEdge"];
}

/** Writes the master, whatever way it was made, and says what was found. From here on images are meant for it, unless it is bad. */
export function writeAndTell(made: FlatMade): FlatFound {
  const { bench, ask, flat, proof, facts, tuned, darkFile, frameCount } = made;
  const { verdict } = proof;
  const file = writeFlatMaster(bench, flat, facts, { frameCount, blur: ask.blur, darkFile, verdict });
  if (verdict !== "bad")
    bench.findings.flatInUse = {
      file: resolve(bench.folder, file),
      from: "this run",
      madeUtcMs: bench.clock.nowMs(),
      verdict,
      dust: proof.dust.map(({ xPx, yPx, diameterPx }) => ({ xPx, yPx, diameterPx })),
    };
  bench.note("flat master", { file, frames: frameCount, verdict });
  return {
    verdict,
    reasons: proof.reasons,
    proof,
    blur: ask.blur,
    files: { flat: file, dark: darkFile, sampleFrame: made.sampleFrame },
    frameCount,
    ...(made.bought ? { bought: made.bought } : {}),
    refusedFrames: made.refusedFrames,
    rejectedFraction: made.rejectedFraction,
    exposureSeconds: tuned.exposureSeconds,
    testFrames: tuned.testFrames,
    upperEdge: made.upperEdge,
    topAdu: tuned.topAdu,
    pedestalAdu: tuned.pedestalAdu,
    levelAdu: flat.levelAdu,
    ...(facts.sensorCelsius === undefined ? {} : { sensorCelsius: facts.sensorCelsius }),
  };
}
