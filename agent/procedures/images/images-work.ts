import type { Frame } from "../../../drivers/roles/camera.ts";
import type { FlatChecker } from "../flat-in-use/flat-check.ts";
import type { StepWork } from "../step.ts";
import type { TunedExposure } from "../tune-exposure/tune-ask.ts";
import type { FlatCheckRecord, ImagesAsk, ImagesFound } from "./images-ask.ts";

export interface ImagesWork extends StepWork<ImagesAsk, ImagesFound> {
  readonly files: string[];
  readonly checks: FlatCheckRecord[];
  readonly checker: FlatChecker;
  readonly firstNumber: number;
  /** Of the whole series, with those before it broke off. */
  taken: number;
  gain: number;
  tuned: TunedExposure | undefined;
  latest?: Frame;
}
