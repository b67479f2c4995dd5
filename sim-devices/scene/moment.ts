import type { MountPhase } from "./mechanics/mount.ts";

export type PartName =
  | "camera"
  | "mount"
  | "cover"
  | "diffuser"
  | "focuser"
  | "wheel"
  | "rotator"
  | "dome"
  | "shutter"
  | "weather"
  | "filter"
  | "tube"
  | "sky";

/** One thing that happened to the rig, and how it stood then: what the checkers read. */
export interface Moment {
  readonly atMs: number;
  readonly part: PartName;
  readonly what: string;
  readonly detail?: string;
  /** 0 closed … 1 open. */
  readonly coverOpen: number;
  /** 0 out of the light … 1 in it. */
  readonly diffuserIn: number;
  readonly mount: MountPhase;
  readonly parked: boolean;
  /** True line of sight to the Sun's centre. */
  readonly sunSeparationDegrees: number;
  /** Where the slew under way will end; absent without one. */
  readonly targetSunSeparationDegrees?: number;
  readonly sunAltitudeDegrees: number;
  readonly exposing: boolean;
  readonly filterFitted: boolean;
}
