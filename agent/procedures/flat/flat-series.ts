import { given } from "../../../drivers/kit/given.ts";
import type { Frame } from "../../../drivers/roles/camera.ts";
import { MasterBuilder } from "../../imaging/combining/master-builder.ts";
import { framesEnough, isNoiseReached, type StackRequest } from "../../imaging/noise/frames-enough.ts";
import { readDark } from "../dark-master.ts";
import { catchUpWithSun } from "../follow-sun.ts";
import { recycleFrames, takeSeries } from "../frame-series.ts";
import { checkFilterStillOn } from "../lost-filter.ts";
import { writeRawFrame } from "../master-files.ts";
import { StepError } from "../step-error.ts";
import { readUnhealthyPixels } from "../unhealthy-px.ts";
import { type FlatWork, proofFrameCount } from "./flat-work.ts";
import { edgeFractionOf } from "./frame-edge.ts";

/** The frames of the flat. @throws StepError when the light is too unsteady for so many */
export async function exposeFlats(work: FlatWork, signal: AbortSignal): Promise<void> {
  const { bench, request } = work;
  work.dark = readDark(bench);
  work.series = await expose(
    work,
    "flat frames",
    request.frames,
    signal,
    (frame) => {
      if (work.edges.length === 0) writeRawFrame(bench, work.sampleFrame, frame, "Flat Field");
      work.notes.add(frame);
      work.edges.push(edgeFractionOf(bench, work.tuned!, frame));
    },
    request.enough,
  );
}

/** More of the same, that the flat does not know. */
export async function exposeProof(work: FlatWork, signal: AbortSignal): Promise<void> {
  const frames = proofFrameCount(work.request);
  work.proof = await expose(work, "frames to prove the flat", frames, signal, () => {});
}

async function expose(
  work: FlatWork,
  what: string,
  frameCount: number,
  signal: AbortSignal,
  look: (frame: Frame) => void,
  enough?: StackRequest,
): Promise<MasterBuilder> {
  const { bench, dark, tuned } = work;
  let builder: MasterBuilder | undefined;
  const exposuresMax = Math.ceil(frameCount * 1.5) + 4;
  const stops = enough && (() => builder !== undefined && isNoiseReached(builder.growth, enough));
  const counted = await takeSeries(
    bench,
    {
      what,
      exposureSeconds: tuned!.exposureSeconds,
      frameType: "flat",
      frameCount,
      exposuresMax,
      before: () => catchUpWithSun(bench, signal),
      ...given({ enough: stops }),
    },
    (frame) => {
      checkFilterStillOn(frame, tuned!.topAdu);
      builder ??= new MasterBuilder({
        shape: { widthPx: frame.widthPx, heightPx: frame.heightPx },
        frameCountExpected: enough ? Math.min(frameCount, framesEnough(enough)) : frameCount,
        clipAdu: tuned!.topAdu - 1,
        dark: dark!,
        kind: "light",
        ...given({ unhealthyPx: readUnhealthyPixels(bench, frame.pixelsAdu.length) }),
      });
      const verdict = builder.add(frame.pixelsAdu);
      if (verdict.accepted) look(frame);
      else bench.note("frame refused", { reason: verdict.reason, scale: verdict.scale });
      recycleFrames(bench, builder.released());
      return builder.frameCount;
    },
    signal,
  );
  if (!builder || (counted < frameCount && !stops?.()))
    throw new StepError(
      "LIGHT_UNSTEADY",
      `only ${counted} of ${frameCount} ${what} were steady enough, in ${exposuresMax} exposures`,
      "Wait for thin cloud to pass, then run the plan again; if the sky is clear, look for what moved in the rig while they were taken.",
    );
  return builder;
}
