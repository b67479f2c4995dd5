import type { Frame } from "../../../drivers/roles/camera.ts";
import type { FlatCheck, FlatChecker } from "../flat-in-use/flat-check.ts";
import type { StepWork } from "../step.ts";
import type { TimeSpan } from "../time-span.ts";
import type { TunedExposure } from "../tune-exposure/tune-request.ts";

/** How the images are held against the flat in use. */
export interface FlatCheckRequest {
  /** After the first image, then after every so many, and after the last. */
  readonly everyFrames: number;
  /** Through the diffuser, where an image alone can't tell; 0: none. */
  readonly testFrames: number;
  /** Why no new flat may be taken now; `undefined` when one may. */
  readonly whyNoNewFlat: () => string | undefined;
}

/** A series that broke off for a new flat: what is the same afterwards. */
export interface RemainingImages {
  readonly taken: number;
  readonly gain: number;
  readonly tuned: TunedExposure;
  readonly secondsMost?: number;
}

export interface ImagesRequest {
  /** At most. */
  readonly frames: number;
  /** From the beginning of one exposure to that of the next. */
  readonly everySeconds?: number;
  /** From the beginning of the step; then no further image is begun, but one is taken in any case. */
  readonly secondsMost?: number;
  readonly levelFraction: number;
  readonly coverAfter: "open" | "closed";
  /** Left out: nothing is asked of the flat. */
  readonly flatCheck?: FlatCheckRequest;
  readonly resumeWith?: RemainingImages;
}

/** One check of the flat, and how many images of the series there were by then. */
export interface FlatCheckRecord extends FlatCheck {
  readonly afterImages: number;
  /** What came of a flat that no longer fits. */
  readonly outcome?: "new flat" | "went on";
  /** Why no new flat was taken. */
  readonly because?: string;
}

export interface ImagesFound {
  /** Below the run's folder, raw as the camera gave them. */
  readonly files: readonly string[];
  /** Between which times each was exposed. */
  readonly takenWithin: readonly TimeSpan[];
  readonly exposureSeconds: number;
  readonly edgeFraction: number;
  readonly testFrames: number;
  /** Name of the flat that they are meant for. */
  readonly flat?: string;
  readonly checks: readonly FlatCheckRecord[];
  /** Of them, those that may have been taken before the train moved or after it. */
  readonly doubtful: readonly string[];
  /** Those that were taken after it. */
  readonly moved: readonly string[];
}

export interface ImagesWork extends StepWork<ImagesRequest, ImagesFound> {
  readonly files: string[];
  readonly takenWithin: TimeSpan[];
  readonly checks: FlatCheckRecord[];
  readonly checker: FlatChecker;
  readonly firstNumber: number;
  /** Of the whole series, with those before it broke off. */
  taken: number;
  gain: number;
  tuned: TunedExposure | undefined;
  latest?: Frame;
  /** Since the step began [s]. */
  readonly seconds: () => number;
  lastBegunSeconds?: number;
}

/** How long images may still be taken [s]; `undefined`: as long as it takes. */
export function imageSecondsLeft({ request, seconds }: ImagesWork): number | undefined {
  const most = request.resumeWith?.secondsMost ?? request.secondsMost;
  return most === undefined ? undefined : Math.max(0, most - seconds());
}

/** Whether all images are taken, or their time is over. */
export function areImagesDone(work: ImagesWork): boolean {
  const isOver = imageSecondsLeft(work) === 0 && work.taken > 0;
  return isOver || work.taken >= work.request.frames;
}
