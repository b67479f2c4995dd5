import { resolve } from "node:path";
import { given } from "../../../drivers/kit/given.ts";
import { type Flat, normaliseFlat } from "../../imaging/combining/normalise-flat.ts";
import {
  divideByFactors,
  divideMasterByFactors,
  type LightFactors,
} from "../../imaging/light/light-factors.ts";
import type { ProofFacts } from "../../imaging/proof/judge-master.ts";
import type { Proof, ProofInput } from "../../imaging/proof/proof.ts";
import type { SeriesFigures } from "../../masters/master-cards.ts";
import { computeInThread } from "../../threads/compute-in-thread.ts";
import { writeFlatMaster } from "../master-files.ts";
import type { Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";
import type { FlatFound } from "./flat-request.ts";
import type { FlatWork } from "./flat-work.ts";
import { seriesEdgeFractions } from "./frame-edge.ts";
import type { JudgedLight } from "./light/measure-looks.ts";

/** A flat, whatever way it was made, and what there is to prove it with. */
export interface MadeFlat
  extends Omit<ProofInput, "upperEdge" | "levelMean" | "known" | "light" | "responseCorrected"> {
  /** Left out where nobody looked. */
  readonly judged?: JudgedLight;
  readonly responseCorrection?: FlatFound["responseCorrection"];
  readonly series: SeriesFigures;
  /** Upper edges of its frames over full scale. */
  readonly edges: readonly number[];
  /** The Sun without blur, dark taken off. */
  readonly sunAdu: Float32Array | undefined;
  /** One of its frames, raw; below the run's folder. */
  readonly sampleFrame: string;
  readonly bought?: FlatFound["bought"];
}

/** What the steps before have found, whatever the way. */
type KeepWork = Pick<FlatWork, "bench" | "request" | "notes" | "tuned" | "dark">;

/** Divides out of a flat what its light is to be freed of, proves it, writes it with its verdict, and says what was found. From here on images are meant for it, unless it is bad. */
export async function proveAndWriteFlat(
  work: KeepWork,
  taken: MadeFlat,
  signal: AbortSignal,
): Promise<FlatFound> {
  const made = taken.judged?.factors ? correctMade(taken, taken.judged.factors) : taken;
  const { correction, factors } = made.judged ?? {};
  const { bench, request, notes } = work;
  const { flat, series } = made;
  const { frameCount, refusedFrames, rejectedFraction } = series;
  const upperEdge = seriesEdgeFractions(made.edges);
  const proof = await prove(
    work,
    { ...made, upperEdge, levelMean: flat.levelAdu / work.tuned!.topAdu },
    signal,
  );
  const untracked = untrackedReason(work);
  const verdict = untracked !== undefined && proof.verdict === "good" ? "usable" : proof.verdict;
  const darkFile = work.dark!.file;
  const file = writeFlatMaster(bench, flat, series, notes, {
    blur: request.blur,
    darkFile,
    verdict,
    light: proof.light,
    topAdu: work.tuned!.topAdu,
    ...given({ response: proof.response }),
    budget: proof.budget,
    ...given({ correction, factors }),
  });
  if (verdict !== "bad")
    bench.findings.flatInUse = {
      file: resolve(bench.folder, file),
      from: "this run",
      madeUtcMs: bench.clock.nowMs(),
      verdict,
      dust: proof.dust.map(({ xPx, yPx, diameterPx }) => ({ xPx, yPx, diameterPx })),
    };
  bench.note("flat master", { file, frames: frameCount, verdict });
  const { exposureSeconds, testFrames, topAdu, pedestalAdu } = work.tuned!;
  return {
    verdict,
    reasons: [...proof.reasons, ...(untracked === undefined ? [] : [untracked])],
    proof,
    blur: request.blur,
    files: { flat: file, dark: darkFile, sampleFrame: made.sampleFrame },
    frameCount,
    ...given({ bought: made.bought, sensorCelsius: notes.sensorCelsius, lightCorrection: correction }),
    ...given({ responseCorrection: made.responseCorrection }),
    refusedFrames,
    rejectedFraction,
    exposureSeconds,
    testFrames,
    upperEdge,
    topAdu,
    pedestalAdu,
    levelAdu: flat.levelAdu,
  };
}

/** The frames that prove a flat came through the same light. */
function correctMade(made: MadeFlat, factors: LightFactors): MadeFlat {
  return {
    ...made,
    flat: divideByFactors(made.flat, factors),
    independent: divideMasterByFactors(made.independent, factors),
  };
}

/** Through a diffuser it does not matter where the Sun stands in the frame; any other blur is reckoned with it. */
function untrackedReason({ bench, request }: KeepWork): string | undefined {
  if (request.blur === "diffuser" || !bench.trackingLapses?.().length) return undefined;
  return "the mount did not follow the Sun for some of the flat's time: its light may have moved";
}

/** Beside the watch over the rig; only what the proof reads goes along to the other thread. */
function prove(
  { bench, notes }: KeepWork,
  made: MadeFlat & Pick<ProofInput, "upperEdge" | "levelMean">,
  signal: AbortSignal,
): Promise<Proof> {
  const {
    flat,
    series,
    upperEdge,
    levelMean,
    leak,
    plane,
    blurred,
    dust,
    judged,
    response,
    responseCorrection,
    sunAdu,
  } = made;
  const responseCorrected = responseCorrection?.kept;
  const light = judged?.light;
  const { meanAdu, sigmaAdu, mask, frameCount } = made.independent;
  const known = collectFlatFacts(bench, flat, series.frameCount, notes.usualFrame.gain);
  return computeInThread(bench, { signal, pxCount: flat.gain.length }, "proveFlat", {
    flat,
    series,
    upperEdge,
    independent: { meanAdu, sigmaAdu, mask, frameCount },
    ...given({ levelMean, leak, plane, blurred, dust, light, response, responseCorrected }),
    known: { ...known, ...given({ sunAdu }) },
  });
}

/** What a run knows of a flat besides its pixels; the same stands in the file's header. */
export function collectFlatFacts(
  { optics, rig, train, findings: { conversion } }: Workbench,
  { levelAdu }: Flat,
  frameCount: number,
  gain: number | undefined,
): ProofFacts {
  return {
    focalRatio: optics.focalLengthMm / optics.apertureMm,
    pixelMicron: rig.camera.limits.pixelMicron * (train?.binning ?? 1),
    wavelengthNm: optics.wavelengthNm,
    ...(conversion && conversion.gain === gain ? { photons: { levelAdu, frameCount, ...conversion } } : {}),
  };
}

/** The flat of a master. @throws StepError when nothing of it is lit */
export function requireLitFlat(master: Parameters<typeof normaliseFlat>[0]): Flat {
  const flat = normaliseFlat(master);
  if (flat) return flat;
  throw new StepError(
    "NOTHING_LIT",
    "no pixel of the flat's frames is lit",
    "Look at the frame in the run's folder.",
  );
}
