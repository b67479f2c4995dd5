import type { Frame } from "../../../drivers/roles/camera.ts";
import type { MasterBuilder } from "../../imaging/combining/master-builder.ts";
import type { ResponseProof } from "../../imaging/proof/response-figures.ts";
import { coverFront } from "../../safing/cover-front.ts";
import { uncover } from "../../safing/uncover.ts";
import { hasMatchingDark, type readDark } from "../dark-master.ts";
import { darks } from "../darks/darks.ts";
import { SeriesNotes, unusedFileName } from "../master-files.ts";
import { runSubstep } from "../run-step.ts";
import type { StepInput, StepWork } from "../step.ts";
import type { TunedExposure } from "../tune-exposure/tune-request.ts";
import type { FlatFound, FlatRequest } from "./flat-request.ts";
import type { LightLooks, NoLooks } from "./light/light-looks.ts";

/** What flats whose frames are averaged gather, whatever blurs the Sun. */
export interface FlatWork extends StepWork<FlatRequest, FlatFound> {
  readonly notes: SeriesNotes;
  readonly edges: number[];
  /** One of its frames, raw; below the run's folder. */
  readonly sampleFrame: string;
  tuned?: TunedExposure;
  dark?: ReturnType<typeof readDark>;
  /** The Sun without blur, raw. */
  sun?: Frame;
  series?: MasterBuilder;
  proof?: MasterBuilder;
  looks?: LightLooks | NoLooks;
  response?: ResponseProof;
}

const sampleFrameFile = "flat-frame.fits";
const proofFramesUsual = 8;

export function beginFlat(input: StepInput<FlatRequest>): FlatWork {
  const sampleFrame = unusedFileName(input.bench, sampleFrameFile);
  return { ...input, notes: new SeriesNotes(), edges: [], sampleFrame };
}

/** Frames that are not in the flat, to prove it with. */
export function proofFrameCount({ proofFrames }: FlatRequest): number {
  return proofFrames ?? proofFramesUsual;
}

type OnBench = Pick<FlatWork, "bench">;

export function closeFront({ bench }: OnBench, signal: AbortSignal): Promise<void> {
  return coverFront(bench, signal);
}

/** Nothing in front of the telescope but its Sun filter. */
export async function openToSun({ bench }: OnBench, signal: AbortSignal): Promise<void> {
  await bench.rig.diffuser?.ensureOpen(signal);
  await uncover(bench, signal);
}

/** What comes back from the darks to the light of the flat, one after the other. */
type Return<Work> = readonly ((work: Work, signal: AbortSignal) => Promise<void>)[];

/** Darks as the tuned exposure wants them, covered and off the Sun, unless the run has them; and then back to the Sun. */
export function exposeDarksIfNeeded<Work extends Pick<FlatWork, "bench" | "request" | "tuned">>(
  ...comeBack: Return<Work>
) {
  return async (work: Work, signal: AbortSignal): Promise<void> => {
    const { bench, request } = work;
    const { exposureSeconds } = work.tuned!;
    if (hasMatchingDark(bench, exposureSeconds, request.darkFrames)) return;
    await runSubstep(darks, { bench, request: { frames: request.darkFrames, exposureSeconds } }, signal);
    for (const move of comeBack) {
      signal.throwIfAborted();
      await move(work, signal);
    }
  };
}
