import { MissingAbilityError } from "../../../drivers/kit/errors.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";
import { MasterBuilder } from "../../imaging/combining/master-builder.ts";
import { framesEnough, isEnough, type StackAsked } from "../../imaging/noise/frames-enough.ts";
import { readDark } from "../dark-master.ts";
import { darks } from "../darks/darks.ts";
import { giveBack, takeSeries } from "../frame-series.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import { freeName, SeriesNotes, writeRawFrame } from "../master-files.ts";
import type { StepInput, Workbench } from "../step.ts";
import { StepError } from "../step-error.ts";
import { runPart } from "../step-machine.ts";
import type { Tuned } from "../tune-exposure/tune-ask.ts";
import { tuneExposure } from "../tune-exposure/tune-exposure.ts";
import type { FlatAsk, FlatFound } from "./flat-ask.ts";
import { edgeFractionOf } from "./frame-edge.ts";

export interface FlatWork {
  readonly bench: Workbench;
  readonly ask: FlatAsk;
  readonly notes: SeriesNotes;
  readonly edges: number[];
  /** One of its frames, raw; below the run's folder. */
  readonly sampleFrame: string;
  tuned: Tuned | undefined;
  dark: ReturnType<typeof readDark> | undefined;
  /** The Sun without blur, raw. */
  sun: Frame | undefined;
  series: MasterBuilder | undefined;
  proof: MasterBuilder | undefined;
  found: FlatFound | undefined;
}

export const sampleFrameFile = "flat-frame.fits";
export const proofFramesUsual = 8;
/** Of full scale, for a look at the Sun without blur. */
const lookLevel = 0.6;

export function beginFlat({ bench, ask }: StepInput<FlatAsk>): FlatWork {
  return {
    bench,
    ask,
    notes: new SeriesNotes(),
    edges: [],
    sampleFrame: freeName(bench, sampleFrameFile),
    tuned: undefined,
    dark: undefined,
    sun: undefined,
    series: undefined,
    proof: undefined,
    found: undefined,
  };
}

/** @throws StepError without a leak check, or with too large a leak; nothing has moved yet */
export async function checkLeak({ bench, ask }: FlatWork): Promise<void> {
  if (!bench.rig.diffuser) throw new MissingAbilityError("rig", "a flat by diffuser needs a diffuser");
  const { leak } = bench.findings;
  if (!leak)
    throw new StepError(
      "LEAK_CHECK_MISSING",
      "a flat by diffuser needs a leak check before it, and this run has had none",
      "Put a `leak-check` step before the flat.",
    );
  if (leak.leakFraction > ask.leakLimitFraction && leak.leakFraction > leak.detectionLimitFraction)
    throw new StepError(
      "LIGHT_LEAK",
      `stray light of ${(100 * leak.leakFraction).toFixed(3)} % of the flat's level is above the limit of ${(100 * ask.leakLimitFraction).toFixed(3)} %`,
      "Close the leak, check again, then take the flat.",
    );
}

export async function coverFront({ bench: { rig } }: FlatWork, signal: AbortSignal): Promise<void> {
  await rig.cover?.ensureClosed(signal);
}

/** One frame of the bare Sun, to look for what is left of it in the flat. */
export async function seeSun(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench } = work;
  const { camera, cover, diffuser } = bench.rig;
  const rate = bench.findings.lightRate.none!;
  const { min, max } = camera.limits.exposureSeconds;
  const topAdu = bench.findings.topCodeAdu ?? camera.limits.fullScaleAdu;
  const wanted = (lookLevel * topAdu - rate.pedestalAdu) / rate.edgeAduPerSecond;
  await diffuser?.ensureOpen(signal);
  await cover?.ensureOpen(signal);
  const exposureSeconds = Math.min(max, Math.max(min, wanted));
  work.sun = await camera.expose({ exposureSeconds, frameType: "light" }, signal);
  bench.note("the Sun without blur", { exposureSeconds });
}

/** The diffuser goes into the light before the cover opens: no moment of full light on a long exposure. */
export async function uncoverDiffused({ bench: { rig } }: FlatWork, signal: AbortSignal): Promise<void> {
  await rig.diffuser!.ensureClosed(signal);
  await rig.cover?.ensureOpen(signal);
}

export async function tuneFlat(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  const known = bench.findings.leak?.exposureSeconds ?? 0;
  const seriesSeconds = (ask.frames + (ask.proofFrames ?? proofFramesUsual)) * (known + 1);
  const tuneAsk = { blur: "diffuser", levelFraction: ask.levelFraction, seriesSeconds } as const;
  work.tuned = await runPart(tuneExposure, { bench, ask: tuneAsk }, signal);
}

/** Covered and off the Sun, as darks are taken; the caller points back. */
export async function takeDarks({ bench, ask, tuned }: FlatWork, signal: AbortSignal): Promise<void> {
  const { exposureSeconds } = tuned!;
  await runPart(darks, { bench, ask: { frames: ask.darkFrames, exposureSeconds } }, signal);
}

/** The frames of the flat. @throws StepError when the light is too unsteady for so many */
export async function exposeFlats(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, ask } = work;
  work.dark = readDark(bench);
  work.series = await expose(
    work,
    "flat frames",
    ask.frames,
    signal,
    (frame) => {
      if (work.edges.length === 0) writeRawFrame(bench, work.sampleFrame, frame, "Flat Field");
      work.notes.add(frame);
      work.edges.push(edgeFractionOf(bench, work.tuned!, frame));
    },
    ask.enough,
  );
}

/** More of the same, that the flat does not know. */
export async function exposeProof(work: FlatWork, signal: AbortSignal): Promise<void> {
  const frames = work.ask.proofFrames ?? proofFramesUsual;
  work.proof = await expose(work, "frames to prove the flat", frames, signal, () => {});
}

async function expose(
  work: FlatWork,
  what: string,
  frameCount: number,
  signal: AbortSignal,
  look: (frame: Frame) => void,
  enough?: StackAsked,
): Promise<MasterBuilder> {
  const { bench, dark, tuned } = work;
  let builder: MasterBuilder | undefined;
  const { unhealthyPx } = bench.findings;
  const exposuresMax = Math.ceil(frameCount * 1.5) + 4;
  const stops = enough && (() => builder !== undefined && isEnough(builder.growth, enough));
  const counted = await takeSeries(
    bench,
    {
      what,
      exposureSeconds: tuned!.exposureSeconds,
      frameType: "flat",
      frameCount,
      exposuresMax,
      ...(stops ? { enough: stops } : {}),
    },
    (frame) => {
      checkFilterStillOn(frame, tuned!.topAdu);
      builder ??= new MasterBuilder({
        shape: { widthPx: frame.widthPx, heightPx: frame.heightPx },
        frameCountExpected: enough ? Math.min(frameCount, framesEnough(enough)) : frameCount,
        clipAdu: tuned!.topAdu - 1,
        dark: dark!,
        kind: "light",
        ...(unhealthyPx?.length === frame.pixelsAdu.length ? { unhealthyPx } : {}),
      });
      const verdict = builder.add(frame.pixelsAdu);
      if (verdict.accepted) look(frame);
      else bench.note("frame refused", { reason: verdict.reason, scale: verdict.scale });
      giveBack(bench, builder.released());
      return builder.frameCount;
    },
    signal,
  );
  if (!builder || (counted < frameCount && !stops?.()))
    throw new StepError(
      "LIGHT_UNSTEADY",
      `only ${counted} of ${frameCount} ${what} were steady enough, in ${exposuresMax} exposures`,
      "Wait for thin cloud to pass, then run the plan again.",
    );
  return builder;
}
