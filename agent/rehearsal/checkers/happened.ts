import type { RoleName } from "../../../drivers/roles/roles.ts";
import type { Moment } from "../../../sim-devices/scene/moment.ts";
import type { Fault } from "../faults/fault.ts";
import type { PersonKind } from "../persons.ts";

/** All that happened on a stage, as plain data. Times are the world's [UTC ms]. */
export interface Happened {
  /** In order; the last is how the rig stands at the end. */
  readonly moments: readonly Moment[];
  readonly struck: readonly (Omit<Fault, "begin"> & {
    readonly beganMs: number;
    /** Left out: it lasts to the end. */
    readonly endedMs?: number;
  })[];
  /** Each agent process that worked on the rig, in order. */
  readonly lives: readonly Life[];
  readonly rig: {
    /** Roles whose devices a server drives. */
    readonly driven: readonly RoleName[];
    readonly byHand: readonly RoleName[];
    /** Who moves those. */
    readonly person?: PersonKind;
    readonly silenceSecondsMax: number;
    readonly coverSeconds: number;
    /** So near the frame's middle the Sun is in the picture; left out, as far as its light gets into the tube. */
    readonly sunInFrameDegrees?: number;
    /** The plan's; left out, none. */
    readonly sunAltitudeDegreesMin?: number;
  };
}

export interface Life {
  readonly purpose: "run" | "restore";
  readonly fromMs: number;
  readonly untilMs: number;
  readonly isKilled: boolean;
  /** When its baseline was on disk; left out: it never was. */
  readonly baselineMs?: number;
  /** When it began to retreat, and to restore. */
  readonly retreatMs?: number;
  readonly restoreMs?: number;
}

/** Something that must never happen to a rig and did, with a class under which others like it are counted. */
export interface Violation {
  readonly atMs: number;
  readonly class: string;
  readonly what: string;
}
