import type { MountPhase } from "./mechanics/mount.ts";

/** One thing that happened to the rig, and how it stood then: what the checkers read. */
export interface Moment {
  readonly atMs: number;
  /** A part of the rig (`camera`, `mount`, …), or `filter`, `tube`, `sky`, `wire` (commands), `agent`. */
  readonly part: string;
  readonly what: string;
  readonly detail?: string;
  /** 0 closed … 1 open. */
  readonly coverOpen: number;
  /** The same as its electronics say; only a fault makes them differ. */
  readonly coverReported: number;
  /** Where it was told to go last. */
  readonly coverTarget: number;
  /** What fraction of the light the dome lets through to the telescope. */
  readonly roofOpen: number;
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
