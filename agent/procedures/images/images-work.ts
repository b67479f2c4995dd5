import type { Frame } from "../../../drivers/roles/camera.ts";
import type { FlatChecker } from "../flat-in-use/flat-check.ts";
import type { NewFlatAsked, Workbench } from "../step.ts";
import type { Tuned } from "../tune-exposure/tune-ask.ts";
import type { ImageCheck, ImagesAsk, ImagesFound } from "./images-ask.ts";

export interface ImagesWork {
  readonly bench: Workbench;
  readonly ask: ImagesAsk;
  readonly files: string[];
  readonly checks: ImageCheck[];
  readonly checker: FlatChecker;
  readonly firstNumber: number;
  /** Of the whole series, with those before it broke off. */
  taken: number;
  gain: number;
  tuned: Tuned | undefined;
  latest: Frame | undefined;
  asks: NewFlatAsked | undefined;
  found: ImagesFound | undefined;
}
