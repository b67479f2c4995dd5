import type { Equatorial } from "../../drivers/roles/mount.ts";
import type { SensorResponse } from "../imaging/light/sensor-response.ts";
import type { KnownShadow } from "../imaging/match/shadow-moves.ts";
import type { Conversion } from "../imaging/noise/conversion-of-series.ts";

/** How the picture moves when the line of sight moves: `imageShiftPx = M · skyMoveArcsec` (M row by row). */
export interface CameraOnSky {
  readonly pxPerArcsec: readonly [number, number, number, number];
  readonly arcsecPerPx: number;
  /** From the image's x axis to sky east, degrees. */
  readonly angleDegrees: number;
  readonly parity: 1 | -1;
  readonly measuredUtcMs: number;
}

/** Where the telescope really points minus where the mount says, on the sky. */
export interface PointingError {
  readonly eastArcsec: number;
  readonly northArcsec: number;
}

/** What this rig's picture showed at a known exposure, from which the next exposure is predicted. */
export interface LightRate {
  /** Upper edge above the pedestal per second of exposure, at the lowest gain. */
  readonly edgeAduPerSecond: number;
  /** Mean of the lit field above the pedestal per second of exposure, where it was measured. */
  readonly meanAduPerSecond?: number;
  readonly pedestalAdu: number;
  readonly gain: number;
  readonly sunAltitudeDegrees: number;
  readonly measuredUtcMs: number;
}

export interface LeakFinding {
  readonly leakFraction: number;
  readonly detectionLimitFraction: number;
  readonly exposureSeconds: number;
  readonly verdict: "good" | "usable" | "bad";
}

/** Conversion as it was measured; holds at that gain. */
export interface MeasuredConversion extends Conversion {
  readonly gain: number;
  /** Default: a flat's frames. */
  readonly from?: "a flat's frames" | "two frames at rest";
  readonly measuredUtcMs: number;
}

/** What a sensor's curve depends on. */
export interface CameraState {
  /** Full scale, which goes with the bit depth [adu]. */
  readonly topAdu?: number;
  readonly sensorCelsius?: number;
  readonly gain: number;
  readonly offset?: number;
  readonly binning: number;
}

/** The sensor's curve; holds at that setting. */
export interface MeasuredResponse extends SensorResponse, CameraState {
  readonly measuredUtcMs: number;
}

/** The master flat that images of this run are meant for. */
export interface FlatInUse {
  /** Whole path. */
  readonly file: string;
  readonly from: "this run" | "ledger";
  readonly madeUtcMs: number;
  readonly verdict: "good" | "usable";
  /** Its dust shadows, where they are known. */
  readonly dust?: readonly KnownShadow[];
}

/** What steps tell each other within a run, and what a run tells the next (kept in the ledger). */
export interface StepFindings {
  cameraOnSky?: CameraOnSky;
  pointingError?: PointingError;
  /** Where the Sun was centred last, as the mount reported it. */
  sunPointing?: Equatorial;
  /** Of the last frame with light in it, while the Sun is not centred yet. */
  lightSeen?: Pick<LightRate, "edgeAduPerSecond" | "pedestalAdu">;
  /** By blur: `none` is the bare Sun, the others with the diffuser in place or out of focus. */
  lightRate: Partial<Record<"none" | "diffuser" | "defocus" | "drift", LightRate>>;
  /** Of each blur the measurement through the clearest sky, of this run and of those before it: how bright the light may be. */
  clearestRate?: Partial<Record<"none" | "diffuser" | "defocus" | "drift", LightRate>>;
  /** 1 where a pixel is hot, dead or otherwise not to be trusted; row-major over the region in use. */
  unhealthyPx?: Uint8Array;
  /** The highest code seen to be the top of the converter [adu]. */
  topCodeAdu?: number;
  leak?: LeakFinding;
  conversion?: MeasuredConversion;
  response?: MeasuredResponse;
  /** What the camera's driver says of it, at that gain. */
  statedConversion?: { readonly electronsPerAdu: number; readonly gain: number };
  flatInUse?: FlatInUse;
  /** File of the dark master that matches the flat's exposure, below the run's folder. */
  darkMaster?: { readonly file: string; readonly exposureSeconds: number; readonly frameCount: number };
}
