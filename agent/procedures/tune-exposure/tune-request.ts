export type Blur = "none" | "diffuser" | "defocus" | "drift";

export interface TuneRequest {
  /** How the light is blurred while tuning; its rate is kept under this name. */
  readonly blur: Blur;
  /** Where the upper edge shall be, a fraction of full scale. */
  readonly levelFraction: number;
  /** Default 0.01. */
  readonly toleranceFraction?: number;
  /** How long the series that follows will take; a sinking Sun may dim it too far [s]. */
  readonly seriesSeconds?: number;
  /** What to call it in progress lines. */
  readonly what?: string;
}

export interface TunedExposure {
  readonly exposureSeconds: number;
  readonly gain: number;
  /** Upper edge of the last frame over full scale. */
  readonly edgeFraction: number;
  readonly edgeAduPerSecond: number;
  /** Mean of the lit field above the pedestal, per second. */
  readonly meanAduPerSecond: number;
  readonly pedestalAdu: number;
  readonly topAdu: number;
  readonly testFrames: number;
  readonly quality: "good" | "usable";
  readonly note?: string;
  /** Where the upper edge will be when the series ends, from the Sun's altitude then. */
  readonly edgeFractionAtEnd: number;
}
