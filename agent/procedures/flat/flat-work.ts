import type { Frame } from "../../../drivers/roles/camera.ts";
import type { MasterBuilder } from "../../imaging/combining/master-builder.ts";
import type { readDark } from "../dark-master.ts";
import { darks } from "../darks/darks.ts";
import { SeriesNotes, unusedFileName } from "../master-files.ts";
import { runSubstep } from "../run-step.ts";
import type { StepInput, Workbench } from "../step.ts";
import type { TunedExposure } from "../tune-exposure/tune-ask.ts";
import type { FlatAsk, FlatFound } from "./flat-ask.ts";

/** What flats whose frames are averaged gather, whatever blurs the Sun. */
export interface FlatWork {
  readonly bench: Workbench;
  readonly ask: FlatAsk;
  readonly notes: SeriesNotes;
  readonly edges: number[];
  /** One of its frames, raw; below the run's folder. */
  readonly sampleFrame: string;
  tuned: TunedExposure | undefined;
  dark: ReturnType<typeof readDark> | undefined;
  /** The Sun without blur, raw. */
  sun: Frame | undefined;
  series: MasterBuilder | undefined;
  proof: MasterBuilder | undefined;
  found: FlatFound | undefined;
}

const sampleFrameFile = "flat-frame.fits";
const proofFramesUsual = 8;

export function beginFlat({ bench, ask }: StepInput<FlatAsk>): FlatWork {
  return {
    bench,
    ask,
    notes: new SeriesNotes(),
    edges: [],
    sampleFrame: unusedFileName(bench, sampleFrameFile),
    tuned: undefined,
    dark: undefined,
    sun: undefined,
    series: undefined,
    proof: undefined,
    found: undefined,
  };
}

/** Frames that are not in the flat, to prove it with. */
export function proofFrameCount({ proofFrames }: FlatAsk): number {
  return proofFrames ?? proofFramesUsual;
}

type OnBench = Pick<FlatWork, "bench">;

export async function closeFront({ bench: { rig } }: OnBench, signal: AbortSignal): Promise<void> {
  await rig.cover?.ensureClosed(signal);
}

/** Nothing in front of the telescope but its Sun filter. */
export async function openToSun({ bench: { rig } }: OnBench, signal: AbortSignal): Promise<void> {
  await rig.diffuser?.ensureOpen(signal);
  await rig.cover?.ensureOpen(signal);
}

/** Covered and off the Sun, as darks are taken; the caller points back. */
export async function exposeDarks(
  { bench, ask, tuned }: Pick<FlatWork, "bench" | "ask" | "tuned">,
  signal: AbortSignal,
): Promise<void> {
  const { exposureSeconds } = tuned!;
  await runSubstep(darks, { bench, ask: { frames: ask.darkFrames, exposureSeconds } }, signal);
}
