import type { LeftoverScale } from "../../imaging/defocus/leftover-by-scale.ts";
import type { LightCorrection } from "../../imaging/light/correct-light.ts";
import type { NoiseBudget, StackRequest } from "../../imaging/noise/frames-enough.ts";
import type { Proof } from "../../imaging/proof/proof.ts";

/** Exactly one way to blur the Sun away. */
export type FlatBlur = "diffuser" | "defocus" | "drift";

export interface FlatRequest {
  readonly blur: FlatBlur;
  /** With `enough`: the most that are taken. */
  readonly frames: number;
  /** Ends a series through the diffuser as soon as a stack of images is served. */
  readonly enough?: StackRequest;
  /** Fewest darks that the flat is calibrated with; taken anew unless the leak check left as many. */
  readonly darkFrames: number;
  /** Frames that are not in the flat, to prove it with. Default 8. */
  readonly proofFrames?: number;
  readonly levelFraction: number;
  /** A leak above this share stops the flat. */
  readonly leakLimitFraction: number;
  /** How far a drift wanders from the disc's centre, a fraction of the frame's short side. Default 0.25. */
  readonly driftRadiusFraction?: number;
  /** Holds the light against the Sun from displaced pointings afterwards. */
  readonly proveLight: boolean;
  /** Divides out what the Sun shows that the light wrote into the flat, where that proves better. */
  readonly correctLight?: boolean;
  /** Straightens the counts by the sensor's curve, where that is known well enough. */
  readonly correctResponse?: boolean;
  readonly coverAfter: "open" | "closed";
  /** Not taken when so many frames through the diffuser show that a good one of an earlier run fits. */
  readonly unlessKeptFits?: { readonly testFrames: number };
}

export interface FlatFound {
  readonly verdict: Proof["verdict"];
  readonly reasons: readonly string[];
  readonly proof: Proof;
  readonly blur: FlatBlur;
  /** Below the run's folder. */
  readonly files: { readonly flat: string; readonly dark: string; readonly sampleFrame: string };
  readonly frameCount: number;
  /** What the number of frames buys, where the plan says what the flat is for. */
  readonly bought?: NoiseBudget;
  readonly refusedFrames: number;
  readonly rejectedFraction: number;
  readonly exposureSeconds: number;
  readonly testFrames: number;
  /** Median and extremes of the frames' upper edges over full scale. */
  readonly upperEdge: { readonly median: number; readonly least: number; readonly most: number };
  readonly topAdu: number;
  readonly pedestalAdu: number;
  readonly levelAdu: number;
  readonly sensorCelsius?: number;
  /** Of a flat whose light was to be corrected. */
  readonly lightCorrection?: LightCorrection;
  /** Of a flat whose counts were to be straightened by the sensor's curve. */
  readonly responseCorrection?: { readonly kept: boolean; readonly because?: string };
  /** Of a flat by defocus. */
  readonly defocus?: DefocusFound;
}

/** What a flat by defocus stands on. */
export interface DefocusFound {
  readonly focusSteps: number;
  readonly flatSteps: number;
  readonly blurRadiusPx: number;
  /** How much larger the picture was than in focus; 1 where that could not be told. */
  readonly stretch: number;
  /** Share of the frame that the blurred disc lights evenly; the rest is masked. */
  readonly litFraction: number;
  /** What of the Sun is not in the model of its light, by scale, beside the noise of the flat. */
  readonly leftover: readonly LeftoverScale[];
  readonly noise: number;
  /** Gradient of the light across the frame that was divided out, and one sigma of it. */
  readonly gradientAcross: { readonly x: number; readonly y: number; readonly sigma: number };
}
