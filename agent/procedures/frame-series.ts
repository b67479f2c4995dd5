import { startStopwatch } from "../../drivers/kit/stopwatch.ts";
import type { Frame, FrameType } from "../../drivers/roles/camera.ts";
import { checkFilterStillOn } from "./lost-filter.ts";
import type { Workbench } from "./step.ts";

export interface SeriesRequest {
  readonly what: string;
  readonly exposureSeconds: number;
  readonly frameType: FrameType;
  /** How many are wanted. */
  readonly frameCount: number;
  /** Awaited before each exposure. */
  readonly before?: () => Promise<void>;
  /** Ends the series before that; asked after each frame that counts. */
  readonly enough?: () => boolean;
  /** Beyond this many exposures the series is given up. Default: as many as are wanted. */
  readonly exposuresMax?: number;
  /** Frames of a larger whole: how many were done before, and of how many. */
  readonly part?: { readonly doneBefore: number; readonly of: number };
}

/**
 * Exposes until enough frames were taken; tells progress and time left after each.
 * @param take uses a frame; returns how many of the series count so far where not all do
 * @returns how many count; fewer than wanted when the exposures ran out
 */
export async function takeSeries(
  bench: Workbench,
  request: SeriesRequest,
  take: (frame: Frame) => number | undefined,
  signal: AbortSignal,
): Promise<number> {
  const { exposureSeconds, frameType, frameCount } = request;
  const { doneBefore, of } = request.part ?? { doneBefore: 0, of: frameCount };
  const elapsedSeconds = startStopwatch(bench.clock);
  let counted = 0;
  for (
    let exposures = 1;
    counted < frameCount && exposures <= (request.exposuresMax ?? frameCount);
    exposures++
  ) {
    await request.before?.();
    const frame = await bench.rig.camera.expose({ exposureSeconds, frameType }, signal);
    counted = take(frame) ?? counted + 1;
    const perFrame = elapsedSeconds() / exposures;
    const done = doneBefore + counted;
    bench.progress({ what: request.what, done, of, secondsLeft: perFrame * (of - done) });
    signal.throwIfAborted();
    if (request.enough?.()) break;
  }
  return counted;
}

/** One frame of a tuned exposure. @throws StepError when the light has become far too bright */
export async function exposeTuned(
  { rig }: Workbench,
  { exposureSeconds, topAdu }: { readonly exposureSeconds: number; readonly topAdu: number },
  frameType: FrameType,
  signal: AbortSignal,
): Promise<Frame> {
  const frame = await rig.camera.expose({ exposureSeconds, frameType }, signal);
  checkFilterStillOn(frame, topAdu);
  return frame;
}

/** Memory of frames that nobody looks at any more, for frames to come. */
export function recycleFrames({ rig }: Workbench, framesAdu: readonly Uint16Array[]): void {
  for (const pixelsAdu of framesAdu) rig.camera.giveBack(pixelsAdu);
}
